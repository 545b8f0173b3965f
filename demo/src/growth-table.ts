import type { ImportedTable } from '@longhold/core/growth';
import type { RandomStream } from '@longhold/core/numeric';
import { sexSchema } from '@longhold/core/records';
import { growthSince8 } from './growth-curve';
import { LEVELS } from './measure-model';
import { GROWTH_CURVE, GROWTH_TABLE, OWN_RATE_PIVOT, OWN_RATE_SD } from './parameters';

/**
 * An invented table of Co-Gn, as a book would print one: at each age the mean and SD of other untreated children, all
 * enlarged. Drawn from the planted growth curve, so that expected growth can be taken from a table too.
 */
export function drawGrowthTable(random: RandomStream): ImportedTable {
  const { name, ages, children, filmFactor } = GROWTH_TABLE;
  const printed = (natural: number): number => Math.round((10 * natural) / filmFactor) / 10;
  return {
    name,
    measure: 'Co-Gn',
    source: 'invented, as are all numbers of this demo',
    filmFactor,
    ownRateSd: OWN_RATE_SD,
    rows: sexSchema.options.flatMap((sex) =>
      ages.map((ageYears) => {
        const sd = Math.hypot(LEVELS.mandible.sd, OWN_RATE_SD * (ageYears - OWN_RATE_PIVOT));
        const expected =
          GROWTH_CURVE[sex].sizeAt8 + LEVELS.mandible.mean.untreated + growthSince8(sex, ageYears);
        const mean = expected + (sd / Math.sqrt(children)) * random.normal();
        return { sex, ageYears, stage: null, mean: printed(mean), sd: printed(sd), n: children };
      }),
    ),
  };
}

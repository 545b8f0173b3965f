import type { RandomStream } from '@longhold/core/numeric';
import { DAYS_PER_YEAR, type Sex } from '@longhold/core/records';
import { drawNormalWithin, happens } from './draws';
import { TREATED } from './parameters';

const DAYS_PER_MONTH = DAYS_PER_YEAR / 12;

/** Age and length of one active treatment. */
export interface TreatmentTiming {
  readonly sex: Sex;
  /** Years. */
  readonly ageAtStart: number;
  readonly activeDays: number;
}

/** Draws who is treated at what age and for how long. */
export function drawTiming(random: RandomStream): TreatmentTiming {
  const sex = happens(random, TREATED.femaleShare) ? 'female' : 'male';
  const { youngest, oldest } = TREATED.ageAtStart;
  const { activeMonths } = TREATED;
  return {
    sex,
    ageAtStart: drawNormalWithin(random, TREATED.ageAtStart[sex], youngest, oldest),
    activeDays: Math.round(
      DAYS_PER_MONTH * drawNormalWithin(random, activeMonths, activeMonths.shortest, Infinity),
    ),
  };
}

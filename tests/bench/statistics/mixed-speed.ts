import { fitLinearMixedModel, type MixedData } from '@longhold/core/mixed';
import { createRandom } from '@longhold/core/numeric';
import type { SpeedCase } from './speed-case';

const VISITS = 5;

interface Series {
  readonly patient: Float64Array;
  readonly centre: Float64Array;
  readonly time: Float64Array;
  readonly y: Float64Array;
}

/** Invented patients, each with an own level and rate, seen yearly; twenty centres with levels of their own. */
function invented(patients: number): Series {
  const random = createRandom(7);
  const size = patients * VISITS;
  const series = {
    patient: new Float64Array(size),
    centre: new Float64Array(size),
    time: new Float64Array(size),
    y: new Float64Array(size),
  };
  const centres = Float64Array.from({ length: 20 }, () => random.normal());
  for (let patient = 0; patient < patients; patient++) {
    const centre = random.integer(20);
    const level = 40 + 2 * random.normal() + (centres[centre] ?? 0);
    const rate = 2 + 0.5 * random.normal();
    for (let visit = 0; visit < VISITS; visit++) {
      const row = patient * VISITS + visit;
      const time = visit + 0.3 * random.uniform();
      series.patient[row] = patient;
      series.centre[row] = centre;
      series.time[row] = time;
      series.y[row] = level + rate * time + random.normal();
    }
  }
  return series;
}

function levelsAndRates({ patient, time, y }: Series): MixedData {
  const columns = [
    { name: 'intercept', values: new Float64Array(time.length).fill(1) },
    { name: 'time', values: time },
  ];
  return { response: y, fixed: columns, random: { factor: 'patient', labels: patient, columns } };
}

function inCentres(series: Series): MixedData {
  const data = levelsAndRates(series);
  return {
    ...data,
    outer: { factor: 'centre', labels: series.centre, columns: data.fixed.slice(0, 1) },
  };
}

function speedCase(
  name: string,
  script: string,
  sizes: readonly number[],
  data: (series: Series) => MixedData,
): SpeedCase {
  return {
    name,
    wanted: 'no slower than lmer',
    sizes,
    prepare(patients) {
      const series = invented(patients);
      const model = data(series);
      return {
        ours: () => fitLinearMixedModel(model),
        r: { script, columns: { ...series } },
      };
    },
  };
}

const SIZES = [1000, 10_000, 50_000];

/** Sizes are patients, each seen five times. */
export const MIXED_SPEED: readonly SpeedCase[] = [
  speedCase('Mixed model, level and rate of each patient', 'mixed-model', SIZES, levelsAndRates),
  speedCase(
    'Mixed model, level and rate, lmer without its check of derivatives',
    'mixed-model-unchecked',
    SIZES,
    levelsAndRates,
  ),
  speedCase('Mixed model, patients in centres', 'mixed-model-nested', [1000, 10_000], inCentres),
];

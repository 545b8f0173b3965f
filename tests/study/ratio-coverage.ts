import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import {
  bootstrapRatio,
  independentRatio,
  pairedRatio,
  ratioIsIn,
  type RatioOfMeans,
} from '@longhold/core/ratio';
import { outcomeOf, type CoverageStudy, type Outcome } from './coverage-study';

const RATIO = 0.8;

type Kind = 'fieller' | 'delta' | 'logDelta';

function outcomeFor(kind: Kind, truth: number, { fieller, delta, logDelta }: RatioOfMeans): Outcome {
  if (kind === 'delta') return outcomeOf(truth, delta);
  if (kind === 'logDelta') return outcomeOf(truth, logDelta);
  if (ratioIsIn(fieller, truth)) return 'covered';
  return fieller.kind === 'bounded' && truth < fieller.lower ? 'truth-below' : 'truth-above';
}

/** Pairs whose mean denominator lies `distance` standard errors from 0; numerator 0.8 times it, correlated 0.6. */
function pairs(
  random: RandomStream,
  n: number,
  distance: number,
): { numerator: number[]; denominator: number[] } {
  const mean = distance / Math.sqrt(n);
  const numerator: number[] = [];
  const denominator: number[] = [];
  for (let i = 0; i < n; i++) {
    const common = random.normal();
    denominator.push(mean + common);
    numerator.push(RATIO * mean + 0.6 * common + 0.8 * random.normal());
  }
  return { numerator, denominator };
}

const NAMES = {
  fieller: "Fieller's set",
  delta: 'delta method',
  logDelta: 'delta method on the log scale',
  percentile: 'bootstrap percentile',
  accelerated: 'bootstrap BCa',
} as const;

const pairedStudies = [2, 4, 8].flatMap((distance) =>
  [10, 40].flatMap((n) =>
    (['fieller', 'delta', 'logDelta'] as const).map((kind): CoverageStudy => ({
      interval: NAMES[kind],
      situation: `${n} pairs, denominator ${distance} standard errors from 0`,
      level: 0.95,
      replicates: 2000,
      trial(random) {
        const answer = pairedRatio(pairs(random, n, distance));
        return isRefusal(answer) ? 'undefined' : outcomeFor(kind, RATIO, answer);
      },
    })),
  ),
);

const independentStudies: CoverageStudy[] = [
  {
    interval: NAMES.fieller,
    situation: 'two groups of 8 and 20, SD 1 and 2.5, denominator 4 standard errors from 0',
    level: 0.95,
    replicates: 2000,
    trial(random) {
      const mean = (4 * 2.5) / Math.sqrt(20);
      const answer = independentRatio({
        numerator: Array.from({ length: 8 }, () => RATIO * mean + random.normal()),
        denominator: Array.from({ length: 20 }, () => mean + 2.5 * random.normal()),
      });
      return isRefusal(answer) ? 'undefined' : outcomeFor('fieller', RATIO, answer);
    },
  },
];

const SAMPLES = 999;

const bootstrapStudies = [2, 4, 8].flatMap((distance) =>
  [10, 40].flatMap((n) =>
    (['percentile', 'accelerated'] as const).map((kind): CoverageStudy => ({
      interval: NAMES[kind],
      situation: `${n} pairs, denominator ${distance} standard errors from 0, ${SAMPLES} samples`,
      level: 0.95,
      replicates: 2000,
      trial(random) {
        const seed = random.integer(2 ** 31 - 1);
        const answer = bootstrapRatio(pairs(random, n, distance), { replicates: SAMPLES, seed });
        return isRefusal(answer) ? 'undefined' : outcomeOf(RATIO, answer[kind]);
      },
    })),
  ),
);

/** Patients with 1 to 6 rows; each patient's gain and share of it kept are his own, the true ratio is 0.8. */
function clusters(
  random: RandomStream,
  patients: number,
): { numerator: number[]; denominator: number[]; patient: number[] } {
  const numerator: number[] = [];
  const denominator: number[] = [];
  const patient: number[] = [];
  for (let p = 0; p < patients; p++) {
    const gain = 4 + random.normal();
    const kept = RATIO * gain + 0.8 * random.normal();
    const rows = 1 + random.integer(6);
    for (let row = 0; row < rows; row++) {
      patient.push(p);
      denominator.push(gain + 0.7 * random.normal());
      numerator.push(kept + 0.7 * random.normal());
    }
  }
  return { numerator, denominator, patient };
}

const clusterStudies = [20, 60].flatMap((patients): CoverageStudy[] => [
  ...(['percentile', 'accelerated'] as const).map((kind): CoverageStudy => ({
    interval: `${NAMES[kind]}, patients drawn`,
    situation: `${patients} patients, 1 to 6 rows each, ${SAMPLES} samples`,
    level: 0.95,
    replicates: 2000,
    trial(random) {
      const seed = random.integer(2 ** 31 - 1);
      const answer = bootstrapRatio(clusters(random, patients), { replicates: SAMPLES, seed });
      return isRefusal(answer) ? 'undefined' : outcomeOf(RATIO, answer[kind]);
    },
  })),
  {
    interval: `${NAMES.fieller}, patients as clusters`,
    situation: `${patients} patients, 1 to 6 rows each`,
    level: 0.95,
    replicates: 2000,
    trial(random) {
      const answer = pairedRatio(clusters(random, patients));
      return isRefusal(answer) ? 'undefined' : outcomeFor('fieller', RATIO, answer);
    },
  },
]);

export const RATIO_COVERAGE: readonly CoverageStudy[] = [
  ...pairedStudies,
  ...independentStudies,
  ...bootstrapStudies,
  ...clusterStudies,
];

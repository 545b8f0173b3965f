import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import {
  groupTest,
  predictTimes,
  timeRegression,
  turnbullBootstrap,
  type IntervalTimes,
  type RankScoreForm,
  type TimeDistribution,
} from '@longhold/core/survival';
import { outcomeOf, type CoverageStudy, type Outcome } from './coverage-study';

const LEVEL = 0.95;

/** What is seen of a time at yearly visits a few weeks early or late, some of them missed, over 2 to 8 years. */
function seenAtVisits(random: RandomStream, time: number, missed = 0.25): { left: number; right: number } {
  const followed = 2 + 6 * random.uniform();
  let left = 0;
  for (let year = 1; year <= followed; year++) {
    const visit = year + 0.12 * random.normal();
    if (random.uniform() < missed) continue;
    if (time <= visit) return { left, right: visit };
    left = visit;
  }
  return { left, right: Infinity };
}

function columns(entries: readonly { readonly left: number; readonly right: number }[]): IntervalTimes {
  return { left: entries.map(({ left }) => left), right: entries.map(({ right }) => right) };
}

function patients<Entry>(size: number, draw: (i: number) => Entry): Entry[] {
  return Array.from({ length: size }, (_, i) => draw(i));
}

function turnbullStudy(
  size: number,
  rate: number,
  time: number,
  kind: 'exact' | 'percentile',
): CoverageStudy {
  const name = kind === 'exact' ? 'exact binomial limits' : 'percentile limits';
  return {
    interval: `Turnbull's curve, ${name}`,
    situation: `${size} patients, lost at ${rate} a year, yearly visits, read at year ${time}`,
    level: LEVEL,
    replicates: size > 100 ? 1000 : 2000,
    trial: (random) => {
      const times = columns(patients(size, () => seenAtVisits(random, random.exponential(rate))));
      const seed = random.integer(2 ** 31 - 1);
      const result = turnbullBootstrap(times, [time], { level: LEVEL, resamples: 100, seed });
      return outcomeOf(Math.exp(-rate * time), isRefusal(result) ? null : (result.values[0]?.[kind] ?? null));
    },
  };
}

/** Log times of two groups, `shift` apart, with the error of a distribution. */
const ERRORS: Readonly<Record<TimeDistribution, (random: RandomStream) => number>> = {
  exponential: (random) => Math.log(random.exponential(1)),
  weibull: (random) => Math.log(random.exponential(1)),
  'log-logistic': (random) => {
    const u = random.uniform();
    return Math.log(u) - Math.log1p(-u);
  },
  'log-normal': (random) => random.normal(),
};

const CENTRE = 1.3;
const SHIFT = 0.5;
const SCALE = 0.6;

type Quantity = 'time ratio' | 'hazard ratio' | 'scale' | 'survival at year 3' | 'median';

function truthOf(quantity: Quantity, distribution: TimeDistribution): number {
  const scale = distribution === 'exponential' ? 1 : SCALE;
  const medianError = {
    exponential: Math.log(Math.LN2),
    weibull: Math.log(Math.LN2),
    'log-logistic': 0,
    'log-normal': 0,
  };
  if (quantity === 'time ratio') return Math.exp(SHIFT);
  if (quantity === 'hazard ratio') return Math.exp(-SHIFT / scale);
  if (quantity === 'scale') return scale;
  if (quantity === 'median') return Math.exp(CENTRE + scale * medianError[distribution]);
  const z = (Math.log(3) - CENTRE) / scale;
  return Math.exp(-Math.exp(z));
}

function regressionStudy(size: number, distribution: TimeDistribution, quantity: Quantity): CoverageStudy {
  const scale = distribution === 'exponential' ? 1 : SCALE;
  return {
    interval: `${distribution} regression, ${quantity}`,
    situation: `${size} patients in two groups, yearly visits`,
    level: LEVEL,
    replicates: 2000,
    trial: (random) => {
      const group = patients(size, (i) => (i % 2 === 0 ? 'a' : 'b'));
      const entries = group.map((label) => {
        const logTime = CENTRE + (label === 'b' ? SHIFT : 0) + scale * ERRORS[distribution](random);
        return seenAtVisits(random, Math.exp(logTime));
      });
      const fit = timeRegression({
        times: columns(entries),
        distribution,
        terms: [{ kind: 'factor', name: 'group', values: group }],
      });
      if (isRefusal(fit)) return 'undefined';
      const truth = truthOf(quantity, distribution);
      if (quantity === 'time ratio') return outcomeOf(truth, fit.coefficients[1]?.timeRatio ?? null);
      if (quantity === 'hazard ratio') return outcomeOf(truth, fit.coefficients[1]?.hazardRatio ?? null);
      if (quantity === 'scale') return outcomeOf(truth, fit.scale);
      const prediction = predictTimes(fit, { group: 'a' }, [3]);
      if (isRefusal(prediction)) return 'undefined';
      return outcomeOf(
        truth,
        (quantity === 'median' ? prediction.quantiles : prediction.survival)[0] ?? null,
      );
    },
  };
}

function clusterStudy(clusters: number): CoverageStudy {
  return {
    interval: 'log-normal regression, time ratio, robust with clusters',
    situation: `${clusters} pairs alike in group, correlation 0.5, yearly visits`,
    level: LEVEL,
    replicates: 2000,
    trial: (random) => {
      const entries = patients(clusters, () => random.normal()).flatMap((shared, i) =>
        [0, 1].map(() => {
          const error = (shared + random.normal()) * Math.SQRT1_2;
          const logTime = CENTRE + (i % 2 === 1 ? SHIFT : 0) + SCALE * error;
          return seenAtVisits(random, Math.exp(logTime));
        }),
      );
      const pair = entries.map((_, k) => Math.floor(k / 2));
      const fit = timeRegression({
        times: columns(entries),
        distribution: 'log-normal',
        terms: [{ kind: 'factor', name: 'group', values: pair.map((i) => i % 2) }],
        cluster: pair,
      });
      return outcomeOf(Math.exp(SHIFT), isRefusal(fit) ? null : (fit.coefficients[1]?.timeRatio ?? null));
    },
  };
}

interface TestSituation {
  readonly what: string;
  readonly sizes: readonly number[];
  readonly form: RankScoreForm;
  /** Share of visits missed in each group; default a quarter in all. */
  readonly missed?: readonly number[];
  readonly permutations?: number;
}

/** The truth is that there is no difference: p above 0.05 counts as covered. */
function testStudy({ what, sizes, form, missed, permutations = 0 }: TestSituation): CoverageStudy {
  const by = permutations > 0 ? `${permutations} permutations` : 'chi-squared';
  return {
    interval: `log-rank test, ${form}, p above 0.05, ${by}`,
    situation: `no difference; ${what}`,
    level: LEVEL,
    replicates: 2000,
    trial: (random): Outcome => {
      const group = sizes.flatMap((size, g) => patients(size, () => g));
      const entries = group.map((g) => seenAtVisits(random, random.exponential(0.2), missed?.[g]));
      const seed = random.integer(2 ** 31 - 1);
      const test = groupTest({ times: columns(entries), group }, { form, permutations, seed });
      if (isRefusal(test)) return 'undefined';
      return (test.permutationP ?? test.p) > 0.05 ? 'covered' : 'truth-below';
    },
  };
}

export const INTERVAL_CENSORED_COVERAGE: readonly CoverageStudy[] = [
  turnbullStudy(30, 0.15, 1, 'exact'),
  turnbullStudy(30, 0.15, 3, 'exact'),
  turnbullStudy(60, 0.15, 1, 'exact'),
  turnbullStudy(60, 0.15, 3, 'exact'),
  turnbullStudy(60, 0.15, 5, 'exact'),
  turnbullStudy(60, 0.03, 3, 'exact'),
  turnbullStudy(200, 0.15, 3, 'exact'),
  turnbullStudy(60, 0.15, 1, 'percentile'),
  turnbullStudy(60, 0.15, 3, 'percentile'),
  turnbullStudy(200, 0.15, 3, 'percentile'),
  regressionStudy(30, 'weibull', 'time ratio'),
  regressionStudy(100, 'weibull', 'time ratio'),
  regressionStudy(30, 'weibull', 'hazard ratio'),
  regressionStudy(30, 'weibull', 'scale'),
  regressionStudy(30, 'weibull', 'survival at year 3'),
  regressionStudy(30, 'weibull', 'median'),
  regressionStudy(60, 'exponential', 'time ratio'),
  regressionStudy(60, 'log-logistic', 'time ratio'),
  regressionStudy(60, 'log-normal', 'time ratio'),
  regressionStudy(60, 'log-normal', 'median'),
  clusterStudy(20),
  clusterStudy(60),
  testStudy({ what: '15 and 15 patients', sizes: [15, 15], form: 'sun' }),
  testStudy({ what: '15 and 15 patients', sizes: [15, 15], form: 'finkelstein' }),
  testStudy({ what: '15 and 15 patients', sizes: [15, 15], form: 'sun', permutations: 199 }),
  testStudy({ what: '10 and 50 patients', sizes: [10, 50], form: 'sun' }),
  testStudy({ what: '20, 20 and 20 patients', sizes: [20, 20, 20], form: 'sun' }),
  testStudy({
    what: '60 and 60 patients, a tenth of visits missed in one group and half in the other',
    sizes: [60, 60],
    form: 'sun',
    missed: [0.1, 0.5],
  }),
];

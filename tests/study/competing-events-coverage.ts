import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import {
  cumulativeIncidence,
  grayTest,
  incidenceReadings,
  type CompetingTimes,
  type IncidenceScale,
  type IncidenceVariance,
  type ProbabilityReading,
} from '@longhold/core/survival';
import { outcomeOf, type CoverageStudy, type JointCoverageStudy, type Outcome } from './coverage-study';

/** Yearly rates of relapse (cause 1) and of further treatment for another reason (cause 2). */
const RATES = [0.12, 0.06] as const;
const TOTAL = RATES[0] + RATES[1];
const YEARS = [1.5, 3, 6];

/** Invented: two causes at constant rates; followed for 2 to 10 years; a share of them, `late`, from up to 3 years on. */
function drawn(random: RandomStream, size: number, late: number): CompetingTimes {
  const columns = { time: [] as number[], cause: [] as number[], entry: [] as number[] };
  while (columns.time.length < size) {
    const entry = random.uniform() < late ? 3 * random.uniform() : 0;
    const event = random.exponential(TOTAL);
    const cause = TOTAL * random.uniform() < RATES[0] ? 1 : 2;
    const end = 2 + 8 * random.uniform();
    // Who had an event before coming under observation is never met.
    if (event <= entry || end <= entry) continue;
    columns.time.push(Math.min(event, end));
    columns.cause.push(event <= end ? cause : 0);
    columns.entry.push(entry);
  }
  return late > 0 ? columns : { time: columns.time, cause: columns.cause };
}

/** All scales with Greenwood's variance; of the other variances the default scale. */
const CHOICES: readonly (readonly [IncidenceVariance, IncidenceScale])[] = [
  ['greenwood', 'log-log'],
  ['greenwood', 'complementary-log-log'],
  ['greenwood', 'log'],
  ['greenwood', 'plain'],
  ['aalen', 'log-log'],
  ['jackknife', 'log-log'],
];

function outcomesOf(columns: CompetingTimes, from: number): Record<string, Outcome[]> {
  const outcomes: Record<string, Outcome[]> = {};
  for (const [variance, scale] of CHOICES) {
    // Without late entry it is Greenwood's.
    if (variance === 'jackknife' && columns.entry === undefined) continue;
    const curves = cumulativeIncidence(columns, { causes: 2, from, scale, variance });
    if (isRefusal(curves)) throw new Error(curves.message);
    const note = (name: string, truth: number, limits: ProbabilityReading): void => {
      outcomes[`${name}, ${scale}, ${variance}`] = [outcomeOf(truth, limits.lower === null ? null : limits)];
    };
    for (const { time, eventFree, causes } of incidenceReadings(curves, YEARS)) {
      const free = Math.exp(-TOTAL * (time - from));
      causes.forEach((reading, j) => {
        note(`incidence ${j + 1} at ${time} years`, ((RATES[j] ?? NaN) / TOTAL) * (1 - free), reading);
      });
      if (variance !== 'aalen') note(`event-free at ${time} years`, free, eventFree);
    }
  }
  return outcomes;
}

const SITUATIONS = [
  { size: 20, late: 0, from: 0, entering: '' },
  { size: 60, late: 0, from: 0, entering: '' },
  { size: 200, late: 0, from: 0, entering: '' },
  { size: 60, late: 0.5, from: 0, entering: ', half of them entering 0 to 3 years late' },
  { size: 60, late: 1, from: 0, entering: ', all entering 0 to 3 years late' },
  { size: 200, late: 1, from: 0, entering: ', all entering 0 to 3 years late' },
  { size: 60, late: 1, from: 1, entering: ', all entering 0 to 3 years late, curves from 1 year on' },
  { size: 200, late: 1, from: 1, entering: ', all entering 0 to 3 years late, curves from 1 year on' },
];

const INCIDENCE: readonly JointCoverageStudy[] = SITUATIONS.map(({ size, late, from, entering }) => ({
  situation: `${size} patients, two causes at ${RATES.join(' and ')} a year, followed 2 to 10 years${entering}`,
  level: 0.95,
  replicates: 2000,
  trials: (random) => outcomesOf(drawn(random, size, late), from),
}));

/** Groups of one incidence of cause 1. "Covered": the test at 5 % does not reject. */
function sizeStudy(sizes: readonly number[], rho: number): CoverageStudy {
  return {
    interval: `Gray's test, rho ${rho}: equal groups not told apart`,
    situation: `groups of ${sizes.join(', ')}, two causes at ${RATES.join(' and ')} a year, followed 2 to 10 years`,
    level: 0.95,
    replicates: 2000,
    trial(random) {
      const columns = { time: [] as number[], cause: [] as number[], group: [] as number[] };
      sizes.forEach((size, group) => {
        const { time, cause } = drawn(random, size, 0);
        for (let i = 0; i < size; i++) {
          columns.time.push(time[i] ?? NaN);
          columns.cause.push(cause[i] ?? NaN);
          columns.group.push(group);
        }
      });
      const test = grayTest(columns, { cause: 1, rho });
      if (isRefusal(test)) return 'undefined';
      return test.p < 0.05 ? 'truth-above' : 'covered';
    },
  };
}

export const COMPETING_EVENTS_COVERAGE: readonly (CoverageStudy | JointCoverageStudy)[] = [
  ...INCIDENCE,
  sizeStudy([10, 10], 0),
  sizeStudy([30, 30], 0),
  sizeStudy([100, 100], 0),
  sizeStudy([100, 20], 0),
  sizeStudy([30, 30, 30], 0),
  sizeStudy([30, 30], 1),
];

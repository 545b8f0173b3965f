import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import {
  kaplanMeier,
  restrictedMean,
  survivalQuantiles,
  survivalReadings,
  type ProbabilityScale,
  type RightCensoredTimes,
} from '@longhold/core/survival';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';

const RATE = 0.15;
const YEARS = [1, 3, 6];
const HORIZON = 5;
const SCALES: readonly ProbabilityScale[] = ['log-log', 'log', 'plain'];

/** Invented: losses at a constant rate; followed for 2 to 10 years; with late entry, from up to 3 years on. */
function drawn(random: RandomStream, size: number, lateEntry: boolean): RightCensoredTimes {
  const columns = { time: [] as number[], event: [] as number[], entry: [] as number[] };
  while (columns.time.length < size) {
    const entry = lateEntry ? 3 * random.uniform() : 0;
    const loss = random.exponential(RATE);
    const end = 2 + 8 * random.uniform();
    // Who had the event before coming under observation is never met.
    if (loss <= entry || end <= entry) continue;
    columns.time.push(Math.min(loss, end));
    columns.event.push(loss <= end ? 1 : 0);
    columns.entry.push(entry);
  }
  return lateEntry ? columns : { time: columns.time, event: columns.event };
}

function outcomesOf(columns: RightCensoredTimes): Record<string, Outcome[]> {
  const outcomes: Record<string, Outcome[]> = {};
  for (const scale of SCALES) {
    const curve = kaplanMeier(columns, { scale });
    if (isRefusal(curve)) throw new Error(curve.message);
    const readings = survivalReadings(curve, YEARS);
    if (isRefusal(readings)) throw new Error(readings.message);
    for (const { time, survival, lower, upper } of readings) {
      const limits = survival === null || lower === null ? null : { lower, upper };
      outcomes[`survival at ${time} years, ${scale}`] = [outcomeOf(Math.exp(-RATE * time), limits)];
    }
    const medians = survivalQuantiles(curve, [0.5]);
    outcomes[`median, ${scale}`] = [
      outcomeOf(Math.LN2 / RATE, isRefusal(medians) ? null : (medians[0] ?? null)),
    ];
    if (scale !== 'log-log') continue;
    const mean = restrictedMean(curve, HORIZON);
    const given = !isRefusal(mean) && mean.lower !== null ? mean : null;
    outcomes[`restricted mean to ${HORIZON} years`] = [
      outcomeOf((1 - Math.exp(-RATE * HORIZON)) / RATE, given),
    ];
  }
  return outcomes;
}

const SITUATIONS = [
  { size: 20, lateEntry: false },
  { size: 60, lateEntry: false },
  { size: 200, lateEntry: false },
  { size: 60, lateEntry: true },
];

export const RIGHT_CENSORED_COVERAGE: readonly JointCoverageStudy[] = SITUATIONS.map(
  ({ size, lateEntry }) => ({
    situation: `${size} patients, loss rate ${RATE} a year, followed 2 to 10 years${lateEntry ? ', entering 0 to 3 years late' : ''}`,
    level: 0.95,
    replicates: 2000,
    trials: (random) => outcomesOf(drawn(random, size, lateEntry)),
  }),
);

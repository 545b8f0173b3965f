import { refuse, twoSidedStudent, type Refusal } from '../numeric';
import { fiellerInterval, type RatioInterval } from '../ratio';
import type { RetentionSums } from './centre-statistics';
import type { PoolMember } from './pool-member';
import { poolCentres, type CentrePool } from './pool-centres';
import { addedSums } from './retention-sums';

/** One-stage estimate: all patients as one series. It speaks for the patients of these centres. */
export interface OneStage {
  readonly patients: number;
  readonly centres: number;
  readonly estimate: number;
  readonly interval: RatioInterval;
}

/** Retained share of the gain in one year's window. */
export interface PooledRetention extends CentrePool {
  readonly year: number;
  readonly oneStage: OneStage | Refusal;
}

/** The retained share at one year, over centres and of all patients together. */
export function pooledRetention(
  members: readonly PoolMember[],
  year: number,
  level: number,
): PooledRetention {
  const results = members.map(({ centre, estimates }) => {
    const own = estimates.retention.find((one) => one.year === year);
    return {
      centre,
      patients: own?.patients ?? 0,
      result: own?.result ?? refuse('not-seen', 'Nobody of this centre was seen in that year.'),
    };
  });
  return {
    year,
    ...poolCentres(results, 'identity', level),
    oneStage: allPatients(members, year, level),
  };
}

/**
 * Ratio of the mean gains of all patients with Fieller's set, as one series would have it. Errors of centres' own growth
 * curves are independent; that of a shared table pulls all the same way.
 */
function allPatients(members: readonly PoolMember[], year: number, level: number): OneStage | Refusal {
  const centres = members.flatMap(({ statistics }) => {
    const sums = statistics.retention.find((one) => one.year === year);
    return sums === undefined ? [] : [{ sums, isCommon: statistics.reference.kind === 'common' }];
  });
  const { patients, end, now, scatter } = addedSums(centres.map(({ sums }) => sums));
  if (patients < 2)
    return refuse('too-few-patients', `Patients seen in that year: ${patients}; two are needed.`);
  const perMean = 1 / (patients - 1) / patients;
  const curve = curveOfMeans(centres, patients);
  return {
    patients,
    centres: centres.length,
    estimate: now / end,
    interval: fiellerInterval(
      {
        numerator: now / patients,
        denominator: end / patients,
        numeratorVariance: scatter.now * perMean + curve.now,
        denominatorVariance: scatter.end * perMean + curve.end,
        covariance: scatter.both * perMean + curve.both,
      },
      twoSidedStudent(level, patients - 1),
    ),
  };
}

/** What the growth curves' errors add to the covariance of the two means. */
function curveOfMeans(
  centres: readonly { readonly sums: RetentionSums; readonly isCommon: boolean }[],
  patients: number,
): RetentionSums['curve'] {
  const own = { end: 0, both: 0, now: 0 };
  const sd = { end: 0, now: 0 };
  let correlation = 0;
  let commonPatients = 0;
  for (const { sums, isCommon } of centres) {
    const share = sums.patients / patients;
    if (!isCommon) {
      own.end += share * share * sums.curve.end;
      own.both += share * share * sums.curve.both;
      own.now += share * share * sums.curve.now;
      continue;
    }
    const product = Math.sqrt(sums.curve.end * sums.curve.now);
    sd.end += share * Math.sqrt(sums.curve.end);
    sd.now += share * Math.sqrt(sums.curve.now);
    correlation += product > 0 ? (sums.patients * sums.curve.both) / product : 0;
    commonPatients += sums.patients;
  }
  const shared = commonPatients === 0 ? 0 : (correlation / commonPatients) * sd.end * sd.now;
  return { end: own.end + sd.end ** 2, both: own.both + shared, now: own.now + sd.now ** 2 };
}

/** The number of patients seen in a year, by centre. */
export function seenByCentre(members: readonly PoolMember[], year: number): number[] {
  return members.map(
    ({ statistics }) => statistics.retention.find((one) => one.year === year)?.patients ?? 0,
  );
}

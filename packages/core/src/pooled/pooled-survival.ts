import { isRefusal, refuse, type Refusal } from '../numeric';
import { groupTest, turnbullBootstrap } from '../survival';
import type { LossCount } from './centre-statistics';
import { FEWEST_PATIENTS } from './centre-estimates';
import { lossesFoundBy } from './found-losses';
import { intervalTimesOf, mergedLosses, patientsAtRisk } from './loss-times';
import { poolCentres, type CentrePool } from './pool-centres';
import type { PoolMember } from './pool-member';
import type { OneStage } from './pooled-retention';

/** Resamples behind the limits of the curve of all patients. */
const RESAMPLES = 200;
const SEED = 1;

/** Share of patients who still have the gain at one year. */
export interface PooledSurvival extends CentrePool {
  readonly year: number;
  /** Turnbull's curve of all patients; `patients` are those still at risk. */
  readonly oneStage: OneStage | Refusal;
}

/** A test with its statistic; chi-squared. */
export interface ChiSquaredTest {
  readonly statistic: number;
  readonly degreesOfFreedom: number;
  readonly p: number;
}

/** The curves of the definition's groups, all centres together, compared within centres only. */
export interface PooledGroups {
  readonly groups: readonly {
    readonly label: string;
    readonly patients: number;
    /** Patients of the group by centre, in the order of the centres. */
    readonly byCentre: readonly number[];
    readonly atYears: readonly {
      readonly year: number;
      readonly oneStage: OneStage | Refusal;
      readonly atRiskByCentre: readonly number[];
      /** Losses that were found and may have come by then, by centre. */
      readonly lostByCentre: readonly number[];
    }[];
  }[];
  /** Patients whose group is not recorded, by centre. */
  readonly unknownByCentre: readonly number[];
  /** Score test for interval-censored times, stratified by centre. */
  readonly test: ChiSquaredTest | Refusal;
}

/** The survival of the gain at each year, over centres and of all patients together. */
export function pooledSurvival(
  members: readonly PoolMember[],
  years: readonly number[],
  level: number,
): PooledSurvival[] {
  const whole = curveOfAll(
    members.map(({ statistics }) => statistics.losses),
    years,
    level,
  );
  return years.map((year, i) => {
    const results = members.map(({ centre, estimates }) => {
      const own = estimates.survival.find((one) => one.year === year);
      return {
        centre,
        patients: own?.patients ?? 0,
        result: own?.result ?? refuse('too-few-at-risk', 'Nobody of this centre was followed that long.'),
      };
    });
    return {
      year,
      ...poolCentres(results, 'log-minus-log', level),
      oneStage: whole[i] ?? nobody(0),
    };
  });
}

/** Turnbull's curve of the patients of all centres at the years, with limits by resampling patients. */
function curveOfAll(
  centres: readonly (readonly LossCount[])[],
  years: readonly number[],
  level: number,
): (OneStage | Refusal)[] {
  const merged = mergedLosses(centres);
  if (merged.length === 0) return years.map(() => nobody(0));
  const drawn = turnbullBootstrap(intervalTimesOf(merged), years, {
    level,
    resamples: RESAMPLES,
    seed: SEED,
  });
  return years.map((year, i) => {
    if (isRefusal(drawn)) return drawn;
    const value = drawn.values[i];
    const patients = patientsAtRisk(merged, year);
    if (value === undefined || patients < FEWEST_PATIENTS) return nobody(patients);
    return {
      patients,
      centres: centres.filter((losses) => patientsAtRisk(losses, year) > 0).length,
      estimate: value.survival,
      interval: { kind: 'bounded', ...value.exact },
    };
  });
}

function nobody(patients: number): Refusal {
  return refuse(
    'too-few-at-risk',
    `Patients still at risk in all centres: ${patients}; at least ${FEWEST_PATIENTS} are needed.`,
  );
}

/**
 * Whether loss of the gain comes earlier in some centres than in others: the score test for interval-censored times in
 * Sun's form, with its permutation covariance. It asks that visits do not depend on the centre; where they do, a
 * difference may be one of recall.
 */
export function centreDifferences(members: readonly PoolMember[]): ChiSquaredTest | Refusal {
  const rows = members.flatMap(({ centre, statistics }) =>
    mergedLosses([statistics.losses]).map((loss) => ({ centre, loss })),
  );
  return scoreTest(
    rows.map(({ loss }) => loss),
    rows.map(({ centre }) => centre),
  );
}

function scoreTest(
  losses: readonly LossCount[],
  group: readonly string[],
  stratum?: readonly string[],
): ChiSquaredTest | Refusal {
  const test = groupTest({ times: intervalTimesOf(losses), group, stratum });
  return isRefusal(test) ? test : { statistic: test.statistic, degreesOfFreedom: test.df, p: test.p };
}

/** The definition's groups, with the test between them stratified by centre. */
export function pooledGroups(
  members: readonly PoolMember[],
  years: readonly number[],
  level: number,
): PooledGroups {
  const rows = members.flatMap(({ centre, statistics }) =>
    statistics.losses.flatMap((loss) => (loss.group === null ? [] : [{ centre, loss, label: loss.group }])),
  );
  const labels = [...new Set(rows.map(({ label }) => label))].sort();
  const groups = labels.map((label) => {
    const byCentre = members.map(({ statistics }) =>
      statistics.losses.filter(({ group }) => group === label),
    );
    const counts = byCentre.map((losses) => losses.reduce((sum, { patients }) => sum + patients, 0));
    const curve = curveOfAll(byCentre, years, level);
    return {
      label,
      patients: counts.reduce((sum, count) => sum + count, 0),
      byCentre: counts,
      atYears: years.map((year, i) => ({
        year,
        oneStage: curve[i] ?? nobody(0),
        atRiskByCentre: byCentre.map((losses) => patientsAtRisk(losses, year)),
        lostByCentre: byCentre.map((losses) => lossesFoundBy(losses, year)),
      })),
    };
  });
  const compared = new Set(
    groups.filter(({ patients }) => patients >= FEWEST_PATIENTS).map(({ label }) => label),
  );
  const inTest = rows.filter(({ label }) => compared.has(label));
  return {
    groups,
    unknownByCentre: members.map(({ statistics }) =>
      statistics.losses.reduce((sum, { group, patients }) => sum + (group === null ? patients : 0), 0),
    ),
    test: scoreTest(
      inTest.map(({ loss }) => loss),
      inTest.map(({ label }) => label),
      inTest.map(({ centre }) => centre),
    ),
  };
}

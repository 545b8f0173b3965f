import type { StudyDefinition } from '../contribution/study-definition';
import type { Refusal } from '../numeric';
import { centreEstimates, type CentreEstimates } from './centre-estimates';
import type { CentreStatistics, MeasureStatistics } from './centre-statistics';
import { lossesFoundBy } from './found-losses';
import type { PoolMember } from './pool-member';
import { pooledCompeting, type PooledCompetingYear } from './pooled-competing';
import { pooledFlow, type PooledFlowYear } from './pooled-flow';
import { pooledRetention, type PooledRetention } from './pooled-retention';
import { pooledSeparation, type PooledSeparation } from './pooled-separation';
import {
  centreDifferences,
  pooledGroups,
  pooledSurvival,
  type ChiSquaredTest,
  type PooledGroups,
  type PooledSurvival,
} from './pooled-survival';

/** One centre as the service keeps it: its statistics, and what follows from them, made once for each of its states. */
export interface CentreInPool {
  /** By what the caller knows the centre; unique. */
  readonly centre: string;
  readonly statistics: CentreStatistics;
  /** `allCentreEstimates` of these statistics. */
  readonly estimates: readonly CentreEstimates[];
}

/** What is known of a centre's records as a whole, beside one measure. */
export interface PooledCentre {
  readonly centre: string;
  readonly treated: number;
  readonly untreated: number;
  readonly methodError: MeasureStatistics['methodError'];
  readonly reference: MeasureStatistics['reference'];
  readonly leftOut: MeasureStatistics['leftOut'];
  /** Patients in the risk set of the curve, and with gains in the model of lasting and passing gain. */
  readonly inRiskSet: number;
  readonly withGains: number;
}

/** The pooled answer for one measure. Nothing in it is suppressed yet: `memberView` decides what a member may see. */
export interface PooledMeasure {
  readonly measure: string;
  /** In the order of all lists by centre. */
  readonly centres: readonly PooledCentre[];
  readonly flow: readonly PooledFlowYear[];
  readonly retention: readonly PooledRetention[];
  readonly survival: readonly PooledSurvival[];
  /**
   * At each year of `survival` the patients at risk, and those whose loss was found and may have come by then; by centre
   * in the order of the centres.
   */
  readonly atRisk: readonly {
    readonly year: number;
    readonly byCentre: readonly number[];
    readonly lostByCentre: readonly number[];
  }[];
  readonly survivalDifferences: ChiSquaredTest | Refusal;
  readonly groups: PooledGroups;
  readonly competing: readonly PooledCompetingYear[];
  readonly separation: PooledSeparation;
}

/** The pooled answer of a study group under one version of its definition. */
export interface PooledAnswer {
  readonly definitionVersion: number;
  readonly level: number;
  readonly measures: readonly PooledMeasure[];
}

/** What a centre's statistics say of each measure; kept beside them, since resampled curves cost most of the time. */
export function allCentreEstimates(
  statistics: CentreStatistics,
  definition: StudyDefinition,
): CentreEstimates[] {
  return statistics.measures.map((measure) => centreEstimates(measure, definition));
}

/**
 * The pooled answer from the statistics of all centres. Pure: the same statistics give the same numbers, in whatever
 * order the centres come.
 *
 * @throws RangeError where statistics were made under another version of the definition: they can't be pooled
 */
export function pooledAnswer(
  centres: readonly CentreInPool[],
  definition: StudyDefinition,
  definitionVersion: number,
): PooledAnswer {
  const stale = centres.find(({ statistics }) => statistics.definition !== definitionVersion);
  if (stale !== undefined) {
    throw new RangeError(
      `pooledAnswer: statistics of version ${stale.statistics.definition} of the definition, where ${definitionVersion} is in force`,
    );
  }
  const ordered = [...centres].sort((a, b) => (a.centre < b.centre ? -1 : 1));
  return {
    definitionVersion,
    level: definition.level,
    measures: definition.measures.map((measure) => pooledMeasure(ordered, measure, definition)),
  };
}

function pooledMeasure(
  centres: readonly CentreInPool[],
  measure: string,
  definition: StudyDefinition,
): PooledMeasure {
  const { level } = definition;
  const years = [...definition.years].sort((a, b) => a - b);
  const parts = centres.flatMap(({ centre, statistics, estimates }) => {
    const own = statistics.measures.find((one) => one.measure === measure);
    const estimated = estimates.find((one) => one.measure === measure);
    return own === undefined || estimated === undefined
      ? []
      : [{ whole: statistics, member: { centre, statistics: own, estimates: estimated } }];
  });
  const members: PoolMember[] = parts.map(({ member }) => member);
  return {
    measure,
    centres: parts.map(({ whole, member: { centre, statistics } }) => ({
      centre,
      treated: whole.treated,
      untreated: whole.untreated,
      methodError: statistics.methodError,
      reference: statistics.reference,
      leftOut: statistics.leftOut,
      inRiskSet: statistics.losses.reduce((sum, { patients }) => sum + patients, 0),
      withGains: statistics.separation.patients.length,
    })),
    flow: pooledFlow(members, years),
    retention: years.map((year) => pooledRetention(members, year, level)),
    survival: pooledSurvival(members, years, level),
    atRisk: years.map((year) => ({
      year,
      byCentre: members.map(
        ({ estimates }) => estimates.survival.find((one) => one.year === year)?.patients ?? 0,
      ),
      lostByCentre: members.map(({ statistics }) => lossesFoundBy(statistics.losses, year)),
    })),
    survivalDifferences: centreDifferences(members),
    groups: pooledGroups(members, years, level),
    competing: pooledCompeting(members, years, level),
    separation: pooledSeparation(members, level),
  };
}

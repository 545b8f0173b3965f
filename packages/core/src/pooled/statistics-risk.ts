import type { CentreStatistics, MeasureStatistics } from './centre-statistics';

/** What the statistics of one measure can still say of single patients. */
export interface MeasureRisk {
  readonly measure: string;
  /** Patients with sums of their gains. */
  readonly patients: number;
  /**
   * Of these, patients with one or two gains. Number, sum and sum of squares of two numbers give both, so these
   * gains stand in the statistics as they are.
   */
  readonly gainsReadable: number;
  /** Loss intervals, and those that one patient alone has. */
  readonly intervals: number;
  readonly intervalsOfOne: number;
  /** Days on which follow-up ended in some way, and those of one patient alone. */
  readonly endings: number;
  readonly endingsOfOne: number;
  /** Printed numbers of patients from 1 up to one below the smallest cell: who was seen, left out, measured. */
  readonly smallCounts: number;
}

/** What someone with a centre's statistics in hand could find out of single patients. */
export interface StatisticsRisk {
  readonly treated: number;
  readonly untreated: number;
  /** In the order of the statistics. */
  readonly measures: readonly MeasureRisk[];
}

/**
 * Counts what in a centre's statistics is of one person or of few.
 *
 * @param smallestCell of the study definition: fewer patients than this are few
 */
export function statisticsRisk(
  { treated, untreated, measures }: CentreStatistics,
  smallestCell: number,
): StatisticsRisk {
  return { treated, untreated, measures: measures.map((measure) => measureRisk(measure, smallestCell)) };
}

function measureRisk(statistics: MeasureStatistics, smallestCell: number): MeasureRisk {
  const { measure, losses, endings, separation } = statistics;
  const few = (patients: number): boolean => patients > 0 && patients < smallestCell;
  return {
    measure,
    patients: separation.patients.length,
    gainsReadable: separation.patients.filter(([gains]) => gains <= 2).length,
    intervals: losses.length,
    intervalsOfOne: losses.filter(({ patients }) => patients === 1).length,
    endings: endings.length,
    endingsOfOne: endings.filter(({ patients }) => patients === 1).length,
    smallCounts: countsOf(statistics).filter(few).length,
  };
}

function countsOf({ leftOut, flow, retention }: MeasureStatistics): number[] {
  return [
    ...leftOut.map(({ patients }) => patients),
    ...flow.flatMap(({ eligible, seen, measured, notSeen }) => [
      eligible,
      seen,
      measured,
      ...Object.values(notSeen),
    ]),
    ...retention.map(({ patients }) => patients),
  ];
}

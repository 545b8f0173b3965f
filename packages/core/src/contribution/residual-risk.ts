import { groupSizes, sharedValues } from './coarsen';
import type { PooledRecord } from './pooled-record';

/** How many groups of one size there are. */
export interface GroupSizeCount {
  readonly size: number;
  readonly groups: number;
}

/**
 * What coarsening leaves of the risk that someone finds a patient of whom they know something. It speaks of records as
 * they leave. A group is all records of the clinic that share treated or untreated, sex, age, protocol, expansion and
 * maturity.
 */
export interface ResidualRisk {
  readonly records: number;
  /** In order of size. */
  readonly sizes: readonly GroupSizeCount[];
  /** The smallest group, k of k-anonymity; null without records. */
  readonly smallestGroup: number | null;
  /** Records in groups smaller than the study's rule asks for. */
  readonly inSmallGroups: number;
  /**
   * Chance that someone who knows that a patient is among the records, and the group's values of the patient, picks the
   * right record of the group (prosecutor risk, 1 / size): of the patient worst off, and the mean over all patients,
   * which is groups / records. Null without records.
   * Source: El Emam and Dankar 2008, from memory.
   */
  readonly highestRisk: number | null;
  readonly meanRisk: number | null;
  /**
   * Records whose pattern of visits (kinds and days) no other record of the clinic has. Whoever knows the days of a
   * patient's visits may find these, whatever their group.
   */
  readonly uniqueVisitDays: number;
  /** Records whose measured values no other record has. Whoever holds the measured values finds these. */
  readonly uniqueValues: number;
}

/**
 * Measures the risk that remains in a clinic's records.
 *
 * @param records of one clinic, as they leave
 * @param smallestGroup the study's rule
 */
export function residualRisk(records: readonly PooledRecord[], smallestGroup: number): ResidualRisk {
  const groups = groupSizes(records);
  const counts = new Map<number, number>();
  for (const size of groups.values()) counts.set(size, (counts.get(size) ?? 0) + 1);
  const sizes = [...counts]
    .map(([size, number]) => ({ size, groups: number }))
    .sort((a, b) => a.size - b.size);
  const smallest = sizes[0]?.size ?? null;
  return {
    records: records.length,
    sizes,
    smallestGroup: smallest,
    inSmallGroups: records.filter((record) => (groups.get(sharedValues(record)) ?? 0) < smallestGroup).length,
    highestRisk: smallest === null ? null : 1 / smallest,
    meanRisk: records.length === 0 ? null : groups.size / records.length,
    uniqueVisitDays: unique(records, ({ visits }) => visits.map(({ kind, day }) => [kind, day])),
    uniqueValues: unique(records, ({ visits }) =>
      visits.flatMap(({ values }) => values.map(({ measure, value }) => [measure, value])),
    ),
  };
}

/** How many records have a pattern that is theirs alone. A pattern with nothing in it tells nobody apart. */
function unique(
  records: readonly PooledRecord[],
  patternOf: (record: PooledRecord) => readonly unknown[],
): number {
  const seen = new Map<string, number>();
  for (const record of records) {
    const pattern = patternOf(record);
    if (pattern.length === 0) continue;
    const key = JSON.stringify(pattern);
    seen.set(key, (seen.get(key) ?? 0) + 1);
  }
  return [...seen.values()].filter((count) => count === 1).length;
}

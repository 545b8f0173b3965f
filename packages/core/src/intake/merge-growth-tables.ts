import type { ImportedTable } from '../growth/imported-table';
import type { ChangeTally } from './changes';
import { growthTableKey, inTableOrder } from './growth-table-rows';

/** A growth table that an import adds or replaces; `before` is null for a new one. */
export interface TouchedTable {
  readonly before: ImportedTable | null;
  readonly after: ImportedTable;
}

/** What an import would change among a store's growth tables. */
export interface GrowthTableMerge {
  readonly tally: ChangeTally;
  /** Only tables that are new or different, in the order of the import. */
  readonly touched: readonly TouchedTable[];
}

/**
 * Lays imported growth tables over those of a store. A table is known by its name and measure and is replaced as a
 * whole; nothing that the import leaves out is removed.
 */
export function mergeGrowthTables(
  existing: readonly ImportedTable[],
  incoming: readonly ImportedTable[],
): GrowthTableMerge {
  const known = new Map(existing.map((table) => [growthTableKey(table), table]));
  const tally = { added: 0, changed: 0, unchanged: 0 };
  const touched: TouchedTable[] = [];
  for (const after of incoming) {
    const before = known.get(growthTableKey(after)) ?? null;
    if (before !== null && sameTable(before, after)) {
      tally.unchanged += 1;
      continue;
    }
    tally[before === null ? 'added' : 'changed'] += 1;
    touched.push({ before, after });
  }
  return { tally, touched };
}

/** One text for one meaning, whatever the order of the rows. */
function sameTable(one: ImportedTable, other: ImportedTable): boolean {
  return growthTableText(one) === growthTableText(other);
}

/** A table as one text: fixed order of fields and rows. Equal tables have equal texts. */
export function growthTableText({
  name,
  measure,
  source,
  filmFactor,
  ownRateSd,
  rows,
}: ImportedTable): string {
  const ordered = [...rows]
    .sort(inTableOrder)
    .map(({ sex, ageYears, stage, mean, sd, n }) => ({ sex, ageYears, stage, mean, sd, n }));
  return JSON.stringify({ name, measure, source, filmFactor, ownRateSd, rows: ordered });
}

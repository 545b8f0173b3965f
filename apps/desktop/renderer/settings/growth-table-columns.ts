import { countColumn, NO_VALUE, numberColumn, type Column } from '@longhold/ui';
import type { GrowthTableFacts } from '../state/host';

/** Whether every mean comes with the SD and number of children that its uncertainty follows from. */
function uncertaintyWords({ rows }: GrowthTableFacts): string {
  return rows.every(({ sd, n }) => sd !== null && n !== null) ? 'known' : 'not known';
}

/** Imported growth tables: what they are of, and what is known of them. The last column holds a button. */
export const growthTableColumns: readonly Column<GrowthTableFacts>[] = [
  { key: 'name', label: 'Table', text: ({ name }) => name, heading: true },
  { key: 'measure', label: 'Measure', text: ({ measure }) => measure },
  { key: 'by', label: 'By', text: ({ rows }) => (rows[0]?.stage === null ? 'age' : 'stage') },
  countColumn('rows', 'Means', ({ rows }) => rows.length),
  numberColumn('factor', 'Film factor', ({ filmFactor }) => filmFactor, String),
  { key: 'doubt', label: 'Error of the means', text: uncertaintyWords },
  { key: 'source', label: 'Source', text: ({ source }) => source },
  { key: 'remove', label: 'Remove', text: () => NO_VALUE },
];

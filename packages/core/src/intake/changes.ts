import { z } from 'zod';

/** How many records of one sort an import adds, changes, or finds already there as they are. */
const changeTallySchema = z.strictObject({
  added: z.int().min(0),
  changed: z.int().min(0),
  unchanged: z.int().min(0),
});
export type ChangeTally = z.infer<typeof changeTallySchema>;

/**
 * What an import would do or did. A patient counts when the import speaks of it, if only by a measurement; a
 * visit counts as changed when its date, its age or the factor of its films does; its measurements are counted by themselves. A growth
 * table counts as a whole, and one of the same name and measure is replaced.
 */
export const changeCountsSchema = z.strictObject({
  patients: changeTallySchema,
  visits: changeTallySchema,
  measurements: changeTallySchema,
  events: changeTallySchema,
  growthTables: changeTallySchema,
});
export type ChangeCounts = z.infer<typeof changeCountsSchema>;

/** Counts of an import that has not been looked at yet. */
export function noChanges(): ChangeCounts {
  const nothing = (): ChangeTally => ({ added: 0, changed: 0, unchanged: 0 });
  return {
    patients: nothing(),
    visits: nothing(),
    measurements: nothing(),
    events: nothing(),
    growthTables: nothing(),
  };
}

/** How many records were added or changed, over all sorts. */
export function changeTotal(counts: ChangeCounts): number {
  return Object.values(counts).reduce((total, { added, changed }) => total + added + changed, 0);
}

import type { Provenance } from '../measures/definition';
import type { Sex } from '../records';
import { sizeAtAge, type SizeByAge } from './table-weights';

/** A printed growth table: mean size by sex at a few ages, years and the measure's unit. */
export interface GrowthTable {
  readonly kind: 'built-in-table';
  readonly measure: string;
  readonly provenance: Provenance;
  readonly sizes: Readonly<Record<Sex, SizeByAge>>;
  /** SD of a child's own yearly rate around the table's, unit per year. */
  readonly rateSd: number;
}

/**
 * Mandibular length of untreated children, cross-sectional means. The printed table measures from the
 * temporomandibular point to prognathion, close to but not the same as condylion to gnathion.
 */
const MANDIBULAR_LENGTH: GrowthTable = {
  kind: 'built-in-table',
  measure: 'Co-Gn',
  provenance: {
    kind: 'from memory',
    text:
      'Harvold standards of mandibular length (Burlington sample), widely reprinted; from memory. ' +
      'Cross-sectional means at 6, 9, 12, 14 and 16 years, joined by straight lines; the points are close to, not identical with, Co and Gn. ' +
      'The uncertainty of the means is not printed and so not in any interval. ' +
      'How much its films enlarge is not known either, so its growth may be up to a tenth too fast. ' +
      "A child's own rate is taken to stray by 1 mm a year (common practice, no source).",
  },
  sizes: {
    male: [
      [6, 99],
      [9, 107],
      [12, 114],
      [14, 121],
      [16, 127],
    ],
    female: [
      [6, 97],
      [9, 105],
      [12, 113],
      [14, 117],
      [16, 119],
    ],
  },
  rateSd: 1,
};

const TABLES: readonly GrowthTable[] = [MANDIBULAR_LENGTH];

/** The built-in table of a measure, or undefined where none ships. */
export function builtInTable(measureCode: string): GrowthTable | undefined {
  return TABLES.find((table) => table.measure === measureCode);
}

/** Mean size at an age, by straight lines between the table's ages and along the outer lines beyond them; NaN without two. */
export function tableSize({ sizes }: Pick<GrowthTable, 'sizes'>, sex: Sex, age: number): number {
  return sizeAtAge(sizes[sex], age);
}

import type { MixedData, NamedColumn, RandomStructure } from '../mixed';
import type { GainSums } from './centre-statistics';

/** One row of a patient's gains: [1, v, A]. */
type GainEntry = readonly [one: number, velocity: number, gain: number];

/**
 * The triangle R of one patient's rows [1, v, A], by orthogonal rotations, so that R'R are their sums of products.
 * Source: Golub and Van Loan 2013, section 5.1 (Givens rotations).
 *
 * @param gains with expected velocity, in any order; at least one
 */
export function gainSums(gains: readonly { readonly velocity: number; readonly gain: number }[]): GainSums {
  const triangle = new Float64Array(9);
  for (const { velocity, gain } of gains) rotateIn(triangle, Float64Array.of(1, velocity, gain));
  for (let i = 0; i < 3; i++) {
    if ((triangle[3 * i + i] ?? 0) >= 0) continue;
    for (let j = i; j < 3; j++) triangle[3 * i + j] = -(triangle[3 * i + j] ?? 0);
  }
  const at = (place: number): number => (triangle[place] ?? 0) + 0;
  return [gains.length, at(0), at(1), at(2), at(4), at(5), at(8)];
}

/** Rotates one more row into the triangle; the row is used up. */
function rotateIn(triangle: Float64Array, row: Float64Array): void {
  for (let i = 0; i < 3; i++) {
    const below = row[i] ?? 0;
    if (below === 0) continue;
    const above = triangle[3 * i + i] ?? 0;
    const length = Math.hypot(above, below);
    const [c, s] = [above / length, below / length];
    for (let j = i; j < 3; j++) {
      const upper = triangle[3 * i + j] ?? 0;
      const lower = row[j] ?? 0;
      triangle[3 * i + j] = c * upper + s * lower;
      row[j] = c * lower - s * upper;
    }
  }
}

/** Numbers in rising order, column by column, so that the order says nothing of who is who. */
export function sortedSums(sums: readonly GainSums[]): GainSums[] {
  return [...sums].sort((a, b) => {
    for (let i = 0; i < a.length; i++) {
      const difference = (a[i] ?? 0) - (b[i] ?? 0);
      if (difference !== 0) return difference;
    }
    return 0;
  });
}

/**
 * As many rows as the patient has gains, with the very sums of products of those: the triangle's rows, then zeros. A
 * triangle made of fewer than three gains has no more rows that are not zero than there are gains.
 */
function rowsOf([count, a, b, c, d, e, f]: GainSums): GainEntry[] {
  const rows: GainEntry[] = [
    [a, b, c],
    [0, d, e],
    [0, 0, f],
  ];
  const triangle = rows.filter((row) => row.some((entry) => entry !== 0));
  return Array.from({ length: count }, (_, i): GainEntry => triangle[i] ?? [0, 0, 0]);
}

/** Gains of one or more centres as columns of a mixed model whose likelihood is that of the gains themselves. */
export interface PartColumns {
  /** Number of the patient, over all centres. */
  readonly patient: readonly number[];
  /** Number of the centre. */
  readonly centre: readonly number[];
  readonly lasting: NamedColumn;
  readonly passing: NamedColumn;
  readonly gain: readonly number[];
  readonly patients: number;
  /** Patients whose velocity is not the same at all of their gains. */
  readonly followed: number;
}

/**
 * The columns of the growth clock from sums of products. A likelihood of normal data hangs on them only by their sums of
 * products and their number, so that a model of these rows is that of the gains.
 */
export function partColumns(centres: readonly (readonly GainSums[])[]): PartColumns {
  const patient: number[] = [];
  const centre: number[] = [];
  const lasting: number[] = [];
  const passing: number[] = [];
  const gain: number[] = [];
  let patients = 0;
  let followed = 0;
  centres.forEach((sums, c) => {
    for (const one of sums) {
      for (const [first, second, third] of rowsOf(one)) {
        patient.push(patients);
        centre.push(c);
        lasting.push(first);
        passing.push(second);
        gain.push(third);
      }
      // The second diagonal entry is the scatter of the velocities around their mean; below this it is rounding.
      if (one[4] > 1e-9 * Math.max(1, Math.abs(one[2]))) followed++;
      patients++;
    }
  });
  return {
    patient,
    centre,
    lasting: { name: 'lasting', values: lasting },
    passing: { name: 'passing', values: passing },
    gain,
    patients,
    followed,
  };
}

/** The growth clock as a mixed model: both parts as fixed effects and as patients' own departures. */
export function clockData({ patient, lasting, passing, gain }: PartColumns, structure: RandomStructure) {
  const columns = [lasting, passing];
  return {
    response: gain,
    fixed: columns,
    random: { factor: 'patient', labels: patient, columns, structure },
  } satisfies MixedData;
}

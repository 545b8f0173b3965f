import type { MixedData, NamedColumn, RandomStructure } from '../mixed';
import type { GainSums } from './centre-statistics';

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

/** Gains of one or more centres as columns of a mixed model whose likelihood is that of the gains themselves. */
export interface PartColumns {
  /** Number of the patient, over all centres. */
  readonly patient: Int32Array;
  /** Number of the centre. */
  readonly centre: Int32Array;
  readonly lasting: NamedColumn;
  readonly passing: NamedColumn;
  readonly gain: Float64Array;
  readonly patients: number;
  /** Patients whose velocity is not the same at all of their gains. */
  readonly followed: number;
}

/**
 * The columns of the growth clock from sums of products. A likelihood of normal data hangs on them only by their sums of
 * products and their number, so that a model of these rows is that of the gains. A patient has as many rows as gains: the
 * rows of the triangle, of which no more than that are not zero, then zeros.
 */
export function partColumns(centres: readonly (readonly GainSums[])[]): PartColumns {
  const gains = centres.reduce((sum, sums) => sums.reduce((own, [count]) => own + count, sum), 0);
  const patient = new Int32Array(gains);
  const centre = new Int32Array(gains);
  const lasting = new Float64Array(gains);
  const passing = new Float64Array(gains);
  const gain = new Float64Array(gains);
  let patients = 0;
  let followed = 0;
  let first = 0;
  centres.forEach((sums, c) => {
    for (const [count, a, b, d, e, f, g] of sums) {
      let row = first;
      const add = (one: number, velocity: number, amount: number): void => {
        if (row === first + count || (one === 0 && velocity === 0 && amount === 0)) return;
        lasting[row] = one;
        passing[row] = velocity;
        gain[row++] = amount;
      };
      add(a, b, d);
      add(0, e, f);
      add(0, 0, g);
      patient.fill(patients, first, first + count);
      centre.fill(c, first, first + count);
      first += count;
      // The second diagonal entry is the scatter of the velocities around their mean; below this it is rounding.
      if (e > 1e-9 * Math.max(1, Math.abs(b))) followed++;
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

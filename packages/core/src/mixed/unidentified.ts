import { refuse } from '../numeric';
import type { CrossProducts } from './cross-products';
import type { MixedModel, TermBasis } from './mixed-model';
import type { MixedRefusal } from './model-data';
import { symmetricEigen } from './symmetric-eigen';

/** Columns of random effects of which less than this share lies outside the fixed effects lie within them. */
const NOTHING_LEFT = 1e-10;

/**
 * Restricted likelihood sees random effects only in what the fixed effects leave. Where these take up every difference
 * between the groups (a factor with a level for each group), nothing tells how large the variance is.
 *
 * @returns a refusal that names the effect, or null
 */
export function unidentifiedVariance({ products, random, outer }: MixedModel): MixedRefusal | null {
  return (
    refusalOf(random, groupRests(products)) ??
    (outer === null ? null : refusalOf(outer, outerRests(products)))
  );
}

/** Sums over the groups of Z'Z, and of Z'(I - QQ')Z. */
interface Rests {
  readonly all: Float64Array;
  readonly rest: Float64Array;
}

function refusalOf({ factor, names, size, structure }: TermBasis, { all, rest }: Rests): MixedRefusal | null {
  const trace = names.reduce((sum, _, i) => sum + (all[i * size + i] ?? 0), 0);
  const free = names.filter((_, i) => !((rest[i * size + i] ?? 0) > (NOTHING_LEFT * trace) / size));
  const isFlat =
    structure === 'full' && !((symmetricEigen(rest, size).values[0] ?? 0) > (NOTHING_LEFT * trace) / size);
  if (free.length === 0 && !isFlat) return null;
  const effects = (free.length > 0 ? free : names).join(', ');
  return refuse(
    'unidentified-variance',
    `The fixed effects take up all that the random effects of ${factor} (${effects}) could explain, so that nothing tells how large their variance is; leave out the fixed effects that do, as a factor with a level for each ${factor}, or the random effects.`,
  );
}

function groupRests({ q, r, p, groups, zz, zw, columns, columnStart }: CrossProducts): Rests {
  const all = new Float64Array(q * q);
  const rest = new Float64Array(q * q);
  for (let g = 0; g < groups; g++) {
    const first = columnStart[g] ?? 0;
    const used = (columnStart[g + 1] ?? 0) - first;
    for (let a = 0; a < q; a++) {
      for (let b = 0; b < q; b++) {
        let within = 0;
        for (let k = 0; k < used; k++) {
          const column = columns[first + k] ?? 0;
          if (column < r || column >= r + p) continue;
          within += (zw[q * first + a * used + k] ?? 0) * (zw[q * first + b * used + k] ?? 0);
        }
        const product = zz[(g * q + a) * q + b] ?? 0;
        all[a * q + b] = (all[a * q + b] ?? 0) + product;
        rest[a * q + b] = (rest[a * q + b] ?? 0) + product - within;
      }
    }
  }
  return { all, rest };
}

function outerRests({ r, p, width, outerStart, ww }: CrossProducts): Rests {
  const all = new Float64Array(r * r);
  const rest = new Float64Array(r * r);
  for (let o = 0; o < outerStart.length - 1; o++) {
    const entry = (row: number, column: number): number =>
      ww[o * width * width + Math.max(row, column) * width + Math.min(row, column)] ?? 0;
    for (let a = 0; a < r; a++) {
      for (let b = 0; b < r; b++) {
        let within = 0;
        for (let k = r; k < r + p; k++) within += entry(k, a) * entry(k, b);
        all[a * r + b] = (all[a * r + b] ?? 0) + entry(a, b);
        rest[a * r + b] = (rest[a * r + b] ?? 0) + entry(a, b) - within;
      }
    }
  }
  return { all, rest };
}

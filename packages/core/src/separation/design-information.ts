import type { RegressorSums, VarianceComponents } from './patient-information';
import type { Covariance } from './two-part-model';

/**
 * What patients of a design tell of T and S, and of the variances by which T and S are weighed. The variances stand in
 * the order var(u), cov(u, w), var(w), residual. With X = Z = [1, x], V = Z G Z' + s^2 I and V_k the derivative of V
 * by the k-th variance.
 */
export interface DesignInformation {
  /** X' V^-1 X. */
  readonly parts: Covariance;
  /** X' V^-1 V_k V^-1 X, one for each variance. */
  readonly slopes: readonly Covariance[];
  /** Each two variances once, k <= l. */
  readonly pairs: readonly VariancePair[];
}

/** What two variances have to do with each other. */
export interface VariancePair {
  readonly k: number;
  readonly l: number;
  /** tr(V^-1 V_k V^-1 V_l). */
  readonly trace: number;
  /** X' V^-1 V_k V^-1 V_l V^-1 X, its symmetric part. */
  readonly product: Covariance;
}

/** A 2 x 2 matrix by rows. */
type Square = readonly [number, number, number, number];

/** The derivatives of G by its variances. */
const BY_VARIANCE: readonly Square[] = [
  [1, 0, 0, 0],
  [0, 1, 1, 0],
  [0, 0, 0, 1],
];

/**
 * The design information of one patient. By the Woodbury identity V^-1 Z = Z W with W = (s^2 I + G Z'Z)^-1, so that only
 * 2 x 2 matrices are needed, and G may be singular.
 */
export function designInformation(
  { count, sum, squares }: RegressorSums,
  { betweenPatients: g, residualVariance: s }: VarianceComponents,
): DesignInformation {
  const square: Square = [count, sum, sum, squares];
  const [a, b, c, d] = times([g.lasting, g.both, g.both, g.passing], square);
  const w = inverse([a + s, b, c, d + s]);
  const once = times(square, w);
  const twice = times(once, w);
  const own = BY_VARIANCE.map((derivative) => times(once, derivative));
  const pairs = own.flatMap((left, k) => [
    ...own.slice(k).map((right, i) => {
      const both = times(left, right);
      return { k, l: k + i, trace: trace(both), product: symmetric(times(both, once)) };
    }),
    {
      k,
      l: own.length,
      trace: trace(times(BY_VARIANCE[k] ?? w, twice)),
      product: symmetric(times(left, twice)),
    },
  ]);
  // Outside of Z, V^-1 is I / s^2.
  const residual = trace(times(w, w)) + (count - 2) / s ** 2;
  return {
    parts: symmetric(once),
    slopes: [...own.map((left) => symmetric(times(left, once))), symmetric(twice)],
    pairs: [...pairs, { k: own.length, l: own.length, trace: residual, product: symmetric(times(twice, w)) }],
  };
}

/** The weighted sum of several, for a mean over kinds of patients. At least one is needed. */
export function sumOfDesigns(
  designs: readonly { readonly weight: number; readonly design: DesignInformation }[],
): DesignInformation {
  const sum = (read: (design: DesignInformation) => number): number =>
    designs.reduce((total, { weight, design }) => total + weight * read(design), 0);
  const covariance = (read: (design: DesignInformation) => Covariance | undefined): Covariance => ({
    lasting: sum((design) => read(design)?.lasting ?? NaN),
    both: sum((design) => read(design)?.both ?? NaN),
    passing: sum((design) => read(design)?.passing ?? NaN),
  });
  const form = designs[0]?.design;
  return {
    parts: covariance(({ parts }) => parts),
    slopes: (form?.slopes ?? []).map((_, k) => covariance(({ slopes }) => slopes[k])),
    pairs: (form?.pairs ?? []).map(({ k, l }, at) => ({
      k,
      l,
      trace: sum(({ pairs }) => pairs[at]?.trace ?? NaN),
      product: covariance(({ pairs }) => pairs[at]?.product),
    })),
  };
}

function times([a, b, c, d]: Square, [e, f, g, h]: Square): Square {
  return [a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h];
}

function inverse([a, b, c, d]: Square): Square {
  const determinant = a * d - b * c;
  return [d / determinant, -b / determinant, -c / determinant, a / determinant];
}

function trace([a, , , d]: Square): number {
  return a + d;
}

function symmetric([a, b, c, d]: Square): Covariance {
  return { lasting: a, both: (b + c) / 2, passing: d };
}

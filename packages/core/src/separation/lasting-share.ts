import { twoSidedNormal, twoSidedStudent } from '../numeric';
import { fiellerInterval, type RatioInterval } from '../ratio';
import type { CurveTransfer } from './curve-uncertainty';
import type { TwoPartFit } from './two-part-model';

/** The gain at the end of active treatment as the model has it, and what share of it lasts. */
export interface LastingShare {
  /** A(0) = T + S x0, mean over patients; unit of the measure. */
  readonly gainAtEnd: { readonly estimate: number; readonly standardError: number };
  /** T / A(0). */
  readonly estimate: number;
  readonly interval: RatioInterval;
  /** Of the t distribution behind the interval; null for the normal one. */
  readonly df: number | null;
}

/**
 * The lasting share T / A(0) with Fieller's set. The degrees of freedom are the smaller of those of T and S.
 * Source: Fieller 1954.
 *
 * @param regressorAtEnd x0, the mean of the regressor at the end of active treatment
 * @param curveAtEnd how x0 hangs on the curve's coefficients, d times the mean velocity row; null where nothing does
 */
export function lastingShare(
  { lasting, passing, covariance }: Pick<TwoPartFit, 'lasting' | 'passing' | 'covariance'>,
  regressorAtEnd: number,
  level: number,
  curve: { readonly transfer: CurveTransfer; readonly atEnd: readonly number[] } | null = null,
): LastingShare {
  const x = regressorAtEnd;
  const gain = lasting.estimate + passing.estimate * x;
  // What the curve's error adds through x0 itself; its reach through T and S is in their covariance already.
  const through = curve === null ? NOTHING : reachOfEnd(curve.transfer, curve.atEnd, x, passing.estimate);
  const gainVariance =
    covariance.lasting + 2 * x * covariance.both + x * x * covariance.passing + through.variance;
  const df = smaller(lasting.df, passing.df);
  return {
    gainAtEnd: { estimate: gain, standardError: Math.sqrt(gainVariance) },
    estimate: lasting.estimate / gain,
    interval: fiellerInterval(
      {
        numerator: lasting.estimate,
        denominator: gain,
        numeratorVariance: covariance.lasting,
        denominatorVariance: gainVariance,
        covariance: covariance.lasting + x * covariance.both + through.withLasting,
      },
      df === null ? twoSidedNormal(level) : twoSidedStudent(level, df),
    ),
    df,
  };
}

const NOTHING = { variance: 0, withLasting: 0 };

function reachOfEnd(
  { lasting, passing, covariance }: CurveTransfer,
  atEnd: readonly number[],
  x: number,
  slope: number,
): typeof NOTHING {
  const own = atEnd.map((entry) => slope * entry);
  const gain = lasting.map((entry, i) => entry + x * (passing[i] ?? NaN));
  return {
    variance: 2 * covariance(gain, own) + covariance(own, own),
    withLasting: covariance(lasting, own),
  };
}

function smaller(left: number | null, right: number | null): number | null {
  if (left === null) return right;
  return right === null ? left : Math.min(left, right);
}

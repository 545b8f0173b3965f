import { fiellerInterval, type RatioInterval } from '../ratio';
import type { Limits } from '../retention';
import { multiplierOf } from './part-precision';
import type { CurveTransfer } from './curve-uncertainty';
import { limitsAlongTau, shareAlongTau } from './along-tau';
import type { FadingPartFit } from './fading-part';
import type { TwoPartFit } from './two-part-model';

/** A mean gain as the model has it, T + S x, unit of the measure. */
export interface ModelGain {
  readonly estimate: number;
  readonly standardError: number;
  /** Covariance of the estimate with that of T. */
  readonly withLasting: number;
}

/** How the mean of the regressor itself hangs on the curve's coefficients: d times the mean velocity row. */
export interface CurveAtTime {
  readonly transfer: CurveTransfer;
  readonly row: readonly number[];
}

type Parts = Pick<TwoPartFit, 'lasting' | 'passing' | 'covariance'>;

/** The mean gain where the regressor's mean over patients is x; with an uncertain curve also what it adds through x itself. */
export function modelGain(
  { lasting, passing, covariance }: Parts,
  x: number,
  curve: CurveAtTime | null = null,
): ModelGain {
  const through = curve === null ? NOTHING : reachOfRow(curve, x, passing.estimate);
  const variance =
    covariance.lasting + 2 * x * covariance.both + x * x * covariance.passing + through.variance;
  return {
    estimate: lasting.estimate + passing.estimate * x,
    standardError: Math.sqrt(variance),
    withLasting: covariance.lasting + x * covariance.both + through.withLasting,
  };
}

const NOTHING = { variance: 0, withLasting: 0 };

function reachOfRow({ transfer, row }: CurveAtTime, x: number, slope: number): typeof NOTHING {
  const { lasting, passing, covariance } = transfer;
  const own = row.map((entry) => slope * entry);
  const gain = lasting.map((entry, i) => entry + x * (passing[i] ?? NaN));
  return {
    variance: 2 * covariance(gain, own) + covariance(own, own),
    withLasting: covariance(lasting, own),
  };
}

/** What share of the gain at the end of active treatment lasts. */
export interface LastingShare {
  /** A(0) = T + S x0, mean over patients. */
  readonly gainAtEnd: ModelGain & { readonly limits: Limits };
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
 * @param curve how x0 hangs on the growth curve; null where it does not, or the curve is taken as known
 */
export function lastingShare(
  parts: Parts,
  regressorAtEnd: number,
  level: number,
  curve: CurveAtTime | null = null,
): LastingShare {
  const { lasting, covariance } = parts;
  const gainAtEnd = modelGain(parts, regressorAtEnd, curve);
  const df = smaller(lasting.df, parts.passing.df);
  const multiplier = multiplierOf(df, level);
  return {
    gainAtEnd: { ...gainAtEnd, limits: gainLimits(gainAtEnd, multiplier) },
    estimate: lasting.estimate / gainAtEnd.estimate,
    interval: fiellerInterval(
      {
        numerator: lasting.estimate,
        denominator: gainAtEnd.estimate,
        numeratorVariance: covariance.lasting,
        denominatorVariance: gainAtEnd.standardError ** 2,
        covariance: gainAtEnd.withLasting,
      },
      multiplier,
    ),
    df,
  };
}

/** Symmetric limits of a model's gain. */
export function gainLimits({ estimate, standardError }: ModelGain, multiplier: number): Limits {
  return { lower: estimate - multiplier * standardError, upper: estimate + multiplier * standardError };
}

/**
 * The lasting share T / (T + P) of the fading part, its set taken over all taus that the data leave open; the whole
 * line where they do not bound tau.
 */
export function fadingShare(fit: FadingPartFit): LastingShare {
  const gainAtEnd = modelGain(fit, 1);
  return {
    gainAtEnd: { ...gainAtEnd, limits: limitsAlongTau(fit.along, () => [1, 1]) },
    estimate: fit.lasting.estimate / gainAtEnd.estimate,
    interval: fit.tauBounded ? shareAlongTau(fit.along) : { kind: 'whole-line' },
    df: smaller(fit.lasting.df, fit.passing.df),
  };
}

function smaller(left: number | null, right: number | null): number | null {
  if (left === null) return right;
  return right === null ? left : Math.min(left, right);
}

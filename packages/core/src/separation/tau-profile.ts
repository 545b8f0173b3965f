import { fitMixedModel, prepareMixedModel, type RelativeFactor } from '../mixed';
import { isRefusal, rootBetween } from '../numeric';
import { twoPartData, type GainSeries } from './two-part-model';

/** What fades has this share of itself left at each time. */
export function fading(times: ArrayLike<number>, tau: number): number[] {
  return Array.from(times, (time) => Math.exp(-time / tau));
}

/** The full log-likelihood over log tau; -Infinity where no model could be fitted. Places are remembered. */
export type TauProfile = (logTau: number) => number;

/** The profile of some gains; each place costs one fit by maximum likelihood. */
export function tauProfile(series: GainSeries, times: ArrayLike<number>): TauProfile {
  const known = new Map<number, number>();
  let start: RelativeFactor | null = null;
  return (logTau) => {
    const before = known.get(logTau);
    if (before !== undefined) return before;
    const model = prepareMixedModel(twoPartData(series, fading(times, Math.exp(logTau)), 'full'));
    const fit = isRefusal(model)
      ? model
      : fitMixedModel(model, { criterion: 'ML', ...(start === null ? {} : { start }) });
    // A fit at the edge of what is possible is a poor place to start from.
    if (!isRefusal(fit) && !fit.singular) start = fit.relativeFactor;
    const value = isRefusal(fit) ? -Infinity : fit.logLikelihood;
    known.set(logTau, value);
    return value;
  };
}

/** The top of a profile within a range. */
export interface ProfileTop {
  readonly at: number;
  readonly value: number;
  /** The end of the range at which the top lies, if it lies at one. */
  readonly edge: 'shortest' | 'longest' | null;
}

/** Lowest and highest log tau looked at. */
export type TauRange = readonly [low: number, high: number];

const GRID = 8;
/** log tau is found to this. */
const TOLERANCE = 2e-4;
/** Limits of log tau need no more than this. */
const LIMIT_TOLERANCE = 1e-3;

/** The maximum over a range: the best of a grid, then the tops of parabolas through the best three places. */
export function topOf(profile: TauProfile, [low, high]: TauRange): ProfileTop {
  const step = (high - low) / (GRID - 1);
  const grid = Array.from({ length: GRID }, (_, i) => low + i * step);
  const best = grid.reduce((a, b) => (profile(b) > profile(a) ? b : a));
  let left = Math.max(low, best - step);
  let right = Math.min(high, best + step);
  let middle = best > left && best < right ? best : (left + right) / 2;
  while (right - left > TOLERANCE) {
    const next = between(left, middle, right, profile);
    const [a, b] = next < middle ? [next, middle] : [middle, next];
    if (profile(a) >= profile(b)) [middle, right] = [a, b];
    else [left, middle] = [a, b];
  }
  const at = middle;
  const edge = at - low < 10 * TOLERANCE ? 'shortest' : high - at < 10 * TOLERANCE ? 'longest' : null;
  return { at, value: profile(at), edge };
}

const GOLDEN = (3 - Math.sqrt(5)) / 2;

/** Where to look next: just beside the top of the parabola, so that both ends close in; else in the larger part. */
function between(left: number, middle: number, right: number, profile: TauProfile): number {
  const larger = middle - left > right - middle ? left : right;
  const golden = middle + GOLDEN * (larger - middle);
  const a = (middle - left) * (profile(middle) - profile(right));
  const b = (middle - right) * (profile(middle) - profile(left));
  const top = middle - ((middle - left) * a - (middle - right) * b) / (2 * (a - b));
  const beside = top + Math.sign(larger - middle) * TOLERANCE * 0.3;
  const usable = beside > left && beside < right && Math.abs(beside - middle) > TOLERANCE * 0.1;
  return usable ? beside : golden;
}

/**
 * Where the profile has fallen by `fall` below its top on the side of each end of the range, as log tau; null where it
 * has not by that end.
 */
export function fallenAt(
  profile: TauProfile,
  top: ProfileTop,
  [low, high]: TauRange,
  fall: number,
): { readonly lower: number | null; readonly upper: number | null } {
  const side = (end: number): number | null => {
    const left = (at: number): number => profile(at) - top.value + fall;
    if (!(left(end) < 0)) return null;
    return rootBetween(left, Math.min(end, top.at), Math.max(end, top.at), LIMIT_TOLERANCE);
  };
  return { lower: side(low), upper: side(high) };
}

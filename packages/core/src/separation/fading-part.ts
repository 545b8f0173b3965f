import { chiSquaredQuantile, isRefusal, refuse } from '../numeric';
import type { Limits } from '../retention';
import { limitsAlongTau, type AlongTau, type TauPoint } from './along-tau';
import { multiplierOf } from './part-precision';
import {
  fading,
  fallenAt,
  tauProfile,
  topOf,
  type ProfileTop,
  type TauProfile,
  type TauRange,
} from './tau-profile';
import {
  estimateParts,
  fitTwoParts,
  type GainSeries,
  type PartEstimate,
  type SeparationRefusal,
  type TwoPartFit,
} from './two-part-model';

/** Gains with the time of each. */
export interface FadingSeries extends GainSeries {
  /** Years since the end of active treatment, 0 or more. */
  readonly time: ArrayLike<number>;
}

/**
 * The fading part, A_ij = (T + u_i) + (P + w_i) exp(-t_ij / tau) + e_ij: T stays, P is gone with time. `passing` is P.
 *
 * Standard errors, covariances and degrees of freedom are those at the best tau. Limits of T and P are taken over all
 * taus that the data leave open, and there are none where the data leave tau open to the longest: what fades so slowly
 * cannot be told from what lasts. No test goes with them.
 */
export interface FadingPartFit extends TwoPartFit {
  /** Years in which what fades falls to 1/e (37 %) of itself: the maximum of the full likelihood. */
  readonly tau: number;
  /** Profile-likelihood limits of tau, years; null where the likelihood does not fall far enough on that side. */
  readonly tauLower: number | null;
  readonly tauUpper: number | null;
  /** The maximum lies at an end of the taus that were looked at, so that the data do not fix it. */
  readonly tauAtEdge: 'shortest' | 'longest' | null;
  /** Whether the data rule out that the part fades too slowly to be told from what lasts; without it T and P have no limits. */
  readonly tauBounded: boolean;
  /** The parts at the taus that the data leave open, for limits of whatever follows from them. */
  readonly along: AlongTau;
}

/** The shortest tau that yearly visits could show, in years, and the longest, in times of the longest follow-up. */
const SHORTEST = 0.2;
const LONGEST_TIMES = 3;
/** Taus on each side of the best at which the parts are estimated anew. */
const STEPS = 6;

/** Log of the shortest and longest tau that is looked at, from the longest follow-up in years. */
export function tauRange(longest: number): TauRange {
  return [Math.log(SHORTEST), Math.log(LONGEST_TIMES * longest)];
}

/** Fits the fading part; tau by profile likelihood, all else at it by restricted maximum likelihood. */
export function fitFadingPart(series: FadingSeries, level = 0.95): FadingPartFit | SeparationRefusal {
  const times = Array.from(series.time);
  const wrong = times.findIndex((time) => !(time >= 0 && Number.isFinite(time)));
  if (wrong !== -1) {
    return refuse(
      'wrong-time',
      `time, entry ${wrong + 1}, is ${times[wrong]}; it must be a number of years, 0 or more.`,
    );
  }
  const longest = times.reduce((most, time) => Math.max(most, time), 0);
  const first = fitTwoParts(series, fading(times, Math.max(longest, SHORTEST) / 2), level);
  if (isRefusal(first)) return first;
  const profile = tauProfile(series, times);
  const range = tauRange(longest);
  const top = topOf(profile, range);
  const tau = Math.exp(top.at);
  const fit = fitTwoParts(series, fading(times, tau), level);
  if (isRefusal(fit)) return fit;
  const { along, bounded } = openTaus({ series, times, profile, top, range }, fit, level);
  const limits = fallenAt(profile, top, range, chiSquaredQuantile(level, 1) / 2);
  return {
    ...fit,
    lasting: partAlong(fit.lasting, bounded ? limitsAlongTau(along, () => [1, 0]) : null),
    passing: partAlong(fit.passing, bounded ? limitsAlongTau(along, () => [0, 1]) : null),
    tau,
    tauLower: limits.lower === null ? null : Math.exp(limits.lower),
    tauUpper: limits.upper === null ? null : Math.exp(limits.upper),
    tauAtEdge: top.edge,
    tauBounded: bounded,
    along,
  };
}

function partAlong(part: PartEstimate, limits: Limits | null): PartEstimate {
  return { ...part, t: null, p: null, lower: limits?.lower ?? null, upper: limits?.upper ?? null };
}

interface Profiled {
  readonly series: GainSeries;
  readonly times: readonly number[];
  readonly profile: TauProfile;
  readonly top: ProfileTop;
  readonly range: TauRange;
}

/** The parts at steps of log tau between the taus that the data just leave open. */
function openTaus(
  { series, times, profile, top, range }: Profiled,
  fit: TwoPartFit,
  level: number,
): { readonly along: AlongTau; readonly bounded: boolean } {
  const multiplier = Math.max(multiplierOf(fit.lasting.df, level), multiplierOf(fit.passing.df, level));
  const end = fallenAt(profile, top, range, multiplier ** 2 / 2);
  const points: TauPoint[] = [];
  for (const logTau of steps(end.lower ?? range[0], top.at, end.upper ?? range[1])) {
    const tau = Math.exp(logTau);
    const parts = estimateParts(series, fading(times, tau), fit.structure, fit.fit.relativeFactor);
    const fall = top.value - profile(logTau);
    // Where no model could be fitted there is no likelihood either: the profile has ruled that tau out.
    if (!isRefusal(parts) && Number.isFinite(fall)) points.push({ tau, fall, ...parts });
  }
  return { along: { points, multiplier }, bounded: end.upper !== null && Number.isFinite(multiplier) };
}

/** From low over middle to high by the sine of even steps: where the fall is a parabola, limits are smooth in these. */
function steps(low: number, middle: number, high: number): number[] {
  return Array.from({ length: 2 * STEPS + 1 }, (_, i) => {
    const part = Math.sin((Math.PI / 2) * (i / STEPS - 1));
    return part < 0 ? middle + part * (middle - low) : middle + part * (high - middle);
  });
}

import { contrasts, fitMixedModel, prepareMixedModel, type MixedData, type RelativeFactor } from '../mixed';
import { chiSquaredQuantile, isRefusal, refuse, rootBetween } from '../numeric';
import { withPrecision } from './part-precision';
import {
  fitTwoParts,
  type Covariance,
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
 * Their intervals carry the uncertainty of tau where the data allow it.
 */
export interface FadingPartFit extends TwoPartFit {
  /** Years in which what fades falls to 1/e (37 %) of itself: the maximum of the full likelihood. */
  readonly tau: number;
  /** Profile-likelihood limits of tau, years; null where the likelihood does not fall far enough on that side. */
  readonly tauLower: number | null;
  readonly tauUpper: number | null;
  /** The maximum lies at an end of the taus that were looked at, so that the data do not fix it. */
  readonly tauAtEdge: 'shortest' | 'longest' | null;
  /** Whether the intervals of T and P carry the uncertainty of tau; not so where tau is not fixed by the data. */
  readonly carriesTau: boolean;
}

/** The shortest tau that yearly visits could show, in years, and the longest, in times of the longest follow-up. */
const SHORTEST = 0.2;
const LONGEST_TIMES = 3;
const GRID = 8;
/** log tau is found to this. */
const TOLERANCE = 2e-4;
/** Limits of log tau need no more than this. */
const LIMIT_TOLERANCE = 1e-3;

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
  const profile = profileOf(series, times);
  const range = [Math.log(SHORTEST), Math.log(LONGEST_TIMES * longest)] as const;
  const place = highest(profile, range);
  const tau = Math.exp(place.at);
  const fit = fitTwoParts(series, fading(times, tau), level);
  if (isRefusal(fit)) return fit;
  const precise = place.edge === null ? withTau(series, times, tau, fit, level) : null;
  return {
    ...fit,
    ...precise,
    tau,
    ...limitsOf(profile, place, range, level),
    tauAtEdge: place.edge,
    carriesTau: precise !== null,
  };
}

function fading(times: readonly number[], tau: number): number[] {
  return times.map((time) => Math.exp(-time / tau));
}

/** The full log-likelihood over log tau; -Infinity where no model could be fitted. */
function profileOf(series: GainSeries, times: readonly number[]): (logTau: number) => number {
  const known = new Map<number, number>();
  let start: RelativeFactor | null = null;
  return (logTau) => {
    const before = known.get(logTau);
    if (before !== undefined) return before;
    const regressor = fading(times, Math.exp(logTau));
    const model = prepareMixedModel(dataFor(series, [ones(series), regressor], regressor));
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

function ones({ gain }: GainSeries): number[] {
  return Array.from(gain, () => 1);
}

function dataFor(
  series: GainSeries,
  fixed: readonly (readonly number[])[],
  regressor: readonly number[],
  structure: 'full' | 'diagonal' = 'full',
): MixedData {
  return {
    response: series.gain,
    fixed: fixed.map((values, i) => ({ name: `part ${i + 1}`, values })),
    random: {
      factor: 'patient',
      labels: series.patient,
      columns: [
        { name: 'lasting', values: ones(series) },
        { name: 'passing', values: regressor },
      ],
      structure,
    },
  };
}

interface Highest {
  readonly at: number;
  readonly value: number;
  readonly edge: 'shortest' | 'longest' | null;
}

/** The maximum over a range: the best of a grid, then the tops of parabolas through the best three places. */
function highest(profile: (at: number) => number, [low, high]: readonly [number, number]): Highest {
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
function between(left: number, middle: number, right: number, profile: (at: number) => number): number {
  const larger = middle - left > right - middle ? left : right;
  const golden = middle + GOLDEN * (larger - middle);
  const a = (middle - left) * (profile(middle) - profile(right));
  const b = (middle - right) * (profile(middle) - profile(left));
  const top = middle - ((middle - left) * a - (middle - right) * b) / (2 * (a - b));
  const beside = top + Math.sign(larger - middle) * TOLERANCE * 0.3;
  const usable = beside > left && beside < right && Math.abs(beside - middle) > TOLERANCE * 0.1;
  return usable ? beside : golden;
}

function limitsOf(
  profile: (at: number) => number,
  place: Highest,
  [low, high]: readonly [number, number],
  level: number,
): Pick<FadingPartFit, 'tauLower' | 'tauUpper'> {
  const fall = chiSquaredQuantile(level, 1) / 2;
  const side = (end: number): number | null => {
    const drop = (at: number): number => profile(at) - place.value + fall;
    if (!(drop(end) < 0)) return null;
    const at = rootBetween(drop, Math.min(end, place.at), Math.max(end, place.at), LIMIT_TOLERANCE);
    return at === null ? null : Math.exp(at);
  };
  return { tauLower: side(low), tauUpper: side(high) };
}

/**
 * The parts with the uncertainty of tau: the mean's derivative by tau, P t / tau^2 exp(-t / tau), joins the fixed
 * effects, as in Gauss-Newton steps of a nonlinear mixed model (Lindstrom and Bates 1990). The estimates stay those at
 * tau; only their precision is taken over. Null where the data do not bear it.
 */
function withTau(
  series: GainSeries,
  times: readonly number[],
  tau: number,
  fit: TwoPartFit,
  level: number,
): { lasting: PartEstimate; passing: PartEstimate; covariance: Covariance } | null {
  const regressor = fading(times, tau);
  const slope = times.map((time, i) => (time / tau) * (regressor[i] ?? NaN));
  const model = prepareMixedModel(
    dataFor(series, [ones(series), regressor, slope], regressor, fit.structure),
  );
  if (isRefusal(model)) return null;
  const wide = fitMixedModel(model);
  if (isRefusal(wide)) return null;
  const estimates = contrasts(
    model,
    wide,
    [
      { name: 'lasting', weights: [1, 0, 0] },
      { name: 'passing', weights: [0, 1, 0] },
    ],
    level,
  );
  if (isRefusal(estimates)) return null;
  const [lasting, passing] = estimates;
  if (lasting === undefined || passing === undefined) return null;
  return {
    lasting: withPrecision(fit.lasting, lasting, level),
    passing: withPrecision(fit.passing, passing, level),
    covariance: {
      lasting: wide.covariance[0] ?? NaN,
      both: wide.covariance[1] ?? NaN,
      passing: wide.covariance[4] ?? NaN,
    },
  };
}

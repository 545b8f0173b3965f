import { DAYS_PER_YEAR } from '../records';
import { rankScores, scatterOf } from '../survival';
import type { LossCount, Moves } from './centre-statistics';
import { ownCovariance } from './curve-moves';
import { intervalTimesOf, mergedLosses } from './loss-times';
import type { PoolMember } from './pool-member';

/**
 * Covariance of the centres' scores in the test of whether they differ, from errors of growth references and method errors.
 * If a centre's curve lay elsewhere by its moves, its patients would have their intervals as often as that curve says; that
 * gives its score to first order. All scores add up to zero: what the curve of all gives way to is taken off each centre by
 * its information, the sum of its squared scores.
 *
 * @returns in the order of the centres, which must be rising; null where no centre gives moves
 */
export function centreMoves(members: readonly PoolMember[], years: readonly number[]): number[][] | null {
  const losses = members.map(({ statistics }) => mergedLosses([statistics.losses]));
  const present = members.flatMap(({ statistics, estimates }, c) => {
    const own = losses[c] ?? [];
    return own.length === 0
      ? []
      : [
          {
            losses: own,
            moves: statistics.doubt?.survival ?? null,
            curve: years.map((year) => {
              const found = estimates.survival.find((one) => one.year === year)?.result;
              return found !== undefined && 'estimate' in found ? found.estimate : null;
            }),
          },
        ];
  });
  if (present.every(({ moves }) => moves === null)) return null;
  const scores = rankScores(intervalTimesOf(present.flatMap((one) => one.losses)), 'sun');
  let start = 0;
  const centres = present.map((one) => {
    const own = scores.subarray(start, (start += one.losses.length));
    return {
      ...one,
      slopes: scoreSlopes(one.losses, own, years, one.curve),
      information: own.reduce((sum, score, i) => sum + score * score * (one.losses[i]?.patients ?? 0), 0),
    };
  });
  const total = centres.reduce((sum, { information }) => sum + information, 0);
  const shares = centres.map(({ information }) => information / total);
  return sumsOf(centres, shares);
}

interface MovedCentre {
  readonly moves: Moves | null;
  /** By how much its score rises with its curve at each year. */
  readonly slopes: readonly number[];
}

function sumsOf(centres: readonly MovedCentre[], shares: readonly number[]): number[][] {
  const variances = centres.map(({ moves, slopes }) =>
    moves === null
      ? 0
      : slopes.reduce(
          (sum, a, i) => sum + slopes.reduce((inner, b, j) => inner + a * b * ownCovariance(moves, i, j), 0),
          0,
        ),
  );
  const draws = Math.max(...centres.map(({ moves }) => moves?.shared.length ?? 0));
  const shared = Array.from({ length: draws }, (_, m) => {
    const moved = centres.map(({ moves, slopes }) =>
      slopes.reduce((sum, slope, i) => sum + slope * (moves?.shared[m]?.[i] ?? 0), 0),
    );
    const all = moved.reduce((sum, value) => sum + value, 0);
    return moved.map((value, c) => value - (shares[c] ?? 0) * all);
  });
  const scatter = shared.length < 2 ? null : scatterOf(shared, centres.length);
  const whole = variances.reduce((sum, variance) => sum + variance, 0);
  return variances.map((first, a) =>
    variances.map((second, b) => {
      const [shareA, shareB] = [shares[a] ?? 0, shares[b] ?? 0];
      const own = (a === b ? first : 0) - shareB * first - shareA * second + shareA * shareB * whole;
      return own + (scatter?.[a]?.[b] ?? 0);
    }),
  );
}

/**
 * By how much a centre's score rises with its curve S at each year: an interval (L, R] is had as often as S(L) - S(R) says,
 * with S on straight lines between 1 at the start and its values at the years, and after the last year in proportion to
 * its value there.
 */
function scoreSlopes(
  losses: readonly LossCount[],
  scores: ArrayLike<number>,
  years: readonly number[],
  curve: readonly (number | null)[],
): number[] {
  const slopes = years.map(() => 0);
  const known = curve.findIndex((value) => value === null);
  const last = (known === -1 ? years.length : known) - 1;
  if (last < 0) return slopes;
  /** Weights of the years in S at a time. */
  const weightsAt = (time: number): ReadonlyMap<number, number> => {
    const next = years.findIndex((year, i) => i <= last && year >= time);
    if (next === -1) return new Map([[last, 1]]);
    const from = years[next - 1] ?? 0;
    const part = (time - from) / ((years[next] ?? NaN) - from);
    return new Map([
      [next - 1, 1 - part],
      [next, part],
    ]);
  };
  const valueOf = (weights: ReadonlyMap<number, number>): number =>
    [...weights].reduce((sum, [place, weight]) => sum + weight * (place < 0 ? 1 : (curve[place] ?? NaN)), 0);
  losses.forEach(({ left, right, patients }, i) => {
    const before = weightsAt(left / DAYS_PER_YEAR);
    const beyond = left / DAYS_PER_YEAR >= (years[last] ?? NaN);
    const after = right === null || beyond ? new Map<number, number>() : weightsAt(right / DAYS_PER_YEAR);
    const probability = valueOf(before) - valueOf(after);
    if (!(probability > SMALLEST)) return;
    const factor = (patients * (scores[i] ?? 0)) / probability;
    for (const [place, weight] of before)
      if (place >= 0) slopes[place] = (slopes[place] ?? 0) + factor * weight;
    for (const [place, weight] of after)
      if (place >= 0) slopes[place] = (slopes[place] ?? 0) - factor * weight;
  });
  return slopes;
}

/** An interval that the curve at the years gives no probability tells nothing of how the score moves with it. */
const SMALLEST = 1e-6;

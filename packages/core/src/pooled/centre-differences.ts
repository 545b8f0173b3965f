import { scatterOf } from '../survival';
import type { Moves } from './centre-statistics';
import { ownCovariance } from './curve-moves';
import { patientsAtRisk } from './loss-times';
import type { PoolMember } from './pool-member';

/**
 * Covariance of the centres' scores in the test of whether they differ, from errors of growth references and method errors.
 * A centre's score is, to first order, the sum over the spans between the years of its patients at risk times its hazard
 * less that of all, the mean of the centres' hazards weighed by patients at risk. The hazard of a span, 1 less the ratio of
 * the curve at its end to that at its start, moves with the curve; so what moves all centres alike falls out. Spans after
 * the last year are left out. Source: the log-rank statistic as a sum over time (Aalen 1978; Sun 1996, from memory).
 *
 * @param years rising
 * @returns in the order of the centres that have patients; null where no centre gives moves
 */
export function centreMoves(members: readonly PoolMember[], years: readonly number[]): number[][] | null {
  const present = members.filter(({ statistics }) => statistics.losses.length > 0);
  if (present.every(({ statistics }) => statistics.doubt?.survival == null)) return null;
  const centres = present.map(({ statistics: { losses, doubt }, estimates }): MovedCentre => {
    const curve = years.map((year) => {
      const found = estimates.survival.find((one) => one.year === year)?.result;
      return found !== undefined && 'estimate' in found ? found.estimate : 0;
    });
    return {
      moves: doubt?.survival ?? null,
      atRisk: years.map((year, span) => patientsAtRisk(losses, (year + (years[span - 1] ?? 0)) / 2)),
      slopes: hazardSlopes(curve),
    };
  });
  return covarianceOfScores(centres, years.length);
}

interface MovedCentre {
  readonly moves: Moves | null;
  /** Patients at risk in the middle of each span. */
  readonly atRisk: readonly number[];
  /** By how much the hazard of each span rises with the curve at each year. */
  readonly slopes: readonly (readonly number[])[];
}

/** By how much 1 - S(end) / S(start) of each span rises with S at each year; zeros once nobody is left. */
function hazardSlopes(curve: readonly number[]): number[][] {
  return curve.map((end, span) => {
    const start = span === 0 ? 1 : (curve[span - 1] ?? 0);
    const slopes = curve.map(() => 0);
    if (!(start > 0) || !(end > 0)) return slopes;
    slopes[span] = -1 / start;
    if (span > 0) slopes[span - 1] = end / start ** 2;
    return slopes;
  });
}

function covarianceOfScores(centres: readonly MovedCentre[], years: number): number[][] {
  const slopes = scoreMatrix(centres, years);
  const draws = Math.max(...centres.map(({ moves }) => moves?.shared.length ?? 0));
  const shared = Array.from({ length: draws }, (_, m) =>
    slopes.map((row) =>
      row.reduce((sum, own, k) => {
        const moved = centres[k]?.moves?.shared[m];
        return sum + own.reduce((inner, slope, year) => inner + slope * (moved?.[year] ?? 0), 0);
      }, 0),
    ),
  );
  const scatter = shared.length < 2 ? null : scatterOf(shared, centres.length);
  return slopes.map((first, a) =>
    slopes.map((second, b) => {
      const own = centres.reduce(
        (sum, { moves }, k) => sum + (moves === null ? 0 : formOf(first[k] ?? [], moves, second[k] ?? [])),
        0,
      );
      return own + (scatter?.[a]?.[b] ?? 0);
    }),
  );
}

/** For each centre's score, by how much it rises with each centre's curve at each year. */
function scoreMatrix(centres: readonly MovedCentre[], years: number): number[][][] {
  const spans = Array.from({ length: years }, (_, span) => span);
  const all = spans.map((span) => centres.reduce((sum, { atRisk }) => sum + (atRisk[span] ?? 0), 0));
  return centres.map((scored, c) =>
    centres.map(({ atRisk, slopes }, k) => {
      const weights = spans.map((span) => {
        const share = (atRisk[span] ?? 0) / Math.max(1, all[span] ?? 0);
        return (scored.atRisk[span] ?? 0) * ((c === k ? 1 : 0) - share);
      });
      return spans.map((year) =>
        weights.reduce((sum, weight, span) => sum + weight * (slopes[span]?.[year] ?? 0), 0),
      );
    }),
  );
}

/** a' C b with the covariance C that is the centre's own. */
function formOf(a: readonly number[], moves: Moves, b: readonly number[]): number {
  return a.reduce(
    (sum, first, i) =>
      sum + b.reduce((inner, second, j) => inner + first * second * ownCovariance(moves, i, j), 0),
    0,
  );
}

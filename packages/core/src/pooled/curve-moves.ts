import { resampledVariance } from '../numeric';
import type { Moves } from './centre-statistics';

/*
 * From the moves that centres give of their curves under other growth references and method errors to what they make of
 * the pool: errors that are a centre's own are independent between centres, draws of a shared table move all at once.
 */

/** Variance of one quantity from what is the centre's own. */
export function ownVariance({ own }: Moves, place: number): number {
  // The triangle's rows begin at 0, n, 2n - 1, ...; its length is n (n + 1) / 2.
  const size = Math.round((Math.sqrt(8 * own.length + 1) - 1) / 2);
  return Math.max(0, own[place * size - (place * (place - 1)) / 2] ?? 0);
}

/** Covariance of two quantities from what is the centre's own. */
export function ownCovariance({ own }: Moves, a: number, b: number): number {
  const size = Math.round((Math.sqrt(8 * own.length + 1) - 1) / 2);
  const [first, second] = a <= b ? [a, b] : [b, a];
  return own[first * size - (first * (first - 1)) / 2 + (second - first)] ?? 0;
}

/** By how much one quantity differs from its estimate under each draw of the shared table. */
export function sharedMoves({ shared }: Moves, place: number): number[] {
  return shared.map((draw) => draw[place] ?? 0);
}

/** One centre's curve as a part of the curve of all. */
export interface MovingPart {
  /** Patients whose state at the time is known: so much the centre's curve weighs in that of all. */
  readonly patients: number;
  /** Null where the centre does not give them. */
  readonly moves: Moves | null;
}

/**
 * Standard deviation of the curve of all patients at one place, from errors of growth references and method errors. To
 * first order it moves as the mean of the centres' curves, weighed by patients. Centres that give no moves (too few
 * patients) are taken to move as the others do.
 *
 * @returns 0 where no centre gives any
 */
export function movedSd(parts: readonly MovingPart[], place: number): number {
  const given = parts.flatMap(({ patients, moves }) => (moves === null ? [] : [{ patients, moves }]));
  const patients = given.reduce((sum, part) => sum + part.patients, 0);
  if (!(patients > 0)) return 0;
  let own = 0;
  const shared: number[] = [];
  for (const part of given) {
    const weight = part.patients / patients;
    own += weight * weight * ownVariance(part.moves, place);
    sharedMoves(part.moves, place).forEach((move, draw) => {
      shared[draw] = (shared[draw] ?? 0) + weight * move;
    });
  }
  return Math.sqrt(own + resampledVariance(shared));
}

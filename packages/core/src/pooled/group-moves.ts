import { scatterOf } from '../survival';
import { ownCovariance } from './curve-moves';
import type { PoolMember } from './pool-member';

/**
 * Covariance of the groups' scores, summed over centres, from errors of growth references and method errors. The test is
 * stratified by centre, so that each centre's scores are its own and add up. Groups whose scores a centre does not give,
 * since they are small there, are taken not to move in it.
 *
 * @param labels the groups in the test's order
 * @returns null where no centre gives any
 */
export function groupMoves(members: readonly PoolMember[], labels: readonly string[]): number[][] | null {
  const given = members.flatMap(({ statistics: { doubt } }) => doubt?.scores ?? []);
  if (given.length === 0) return null;
  const sum = labels.map(() => labels.map(() => 0));
  const shared: number[][] = [];
  for (const { groups, moves } of given) {
    const places = labels.map((label) => groups.indexOf(label));
    places.forEach((a, g) =>
      places.forEach((b, h) => {
        const row = sum[g];
        if (row !== undefined && a >= 0 && b >= 0) row[h] = (row[h] ?? 0) + ownCovariance(moves, a, b);
      }),
    );
    moves.shared.forEach((draw, m) => {
      const total = (shared[m] ??= labels.map(() => 0));
      places.forEach((a, g) => (total[g] = (total[g] ?? 0) + (draw[a] ?? 0)));
    });
  }
  if (shared.length < 2) return sum;
  const scatter = scatterOf(shared, labels.length);
  return sum.map((row, g) => row.map((value, h) => value + (scatter[g]?.[h] ?? 0)));
}

import type { NotSeenReason } from '../answers';
import type { CentreFlowYear } from './centre-statistics';
import type { PoolMember } from './pool-member';

/** Who was seen in one year, in all centres together and in each. */
export interface PooledFlowYear extends CentreFlowYear {
  readonly byCentre: readonly ({ readonly centre: string } & Omit<CentreFlowYear, 'year'>)[];
}

/** The reasons in the order in which they are listed. */
export const NOT_SEEN_REASONS: readonly NotSeenReason[] = [
  'withdrew',
  'moved',
  'declined',
  'treated-again',
  'no-consent',
  'not-known',
];

/** Flow by year, over the centres. */
export function pooledFlow(members: readonly PoolMember[], years: readonly number[]): PooledFlowYear[] {
  return years.map((year) => {
    const byCentre = members.map(({ centre, statistics }) => ({
      centre,
      ...(statistics.flow.find((one) => one.year === year) ?? nobodyEligible()),
    }));
    const total = (pick: (one: Omit<CentreFlowYear, 'year'>) => number): number =>
      byCentre.reduce((sum, one) => sum + pick(one), 0);
    const notSeen = nobodyEligible().notSeen;
    for (const reason of NOT_SEEN_REASONS) notSeen[reason] = total((one) => one.notSeen[reason]);
    return {
      year,
      eligible: total(({ eligible }) => eligible),
      seen: total(({ seen }) => seen),
      measured: total(({ measured }) => measured),
      notSeen,
      byCentre: byCentre.map(({ centre, eligible, seen, measured, notSeen: own }) => ({
        centre,
        eligible,
        seen,
        measured,
        notSeen: own,
      })),
    };
  });
}

function nobodyEligible(): Omit<CentreFlowYear, 'year'> {
  return {
    eligible: 0,
    seen: 0,
    measured: 0,
    notSeen: { withdrew: 0, moved: 0, declined: 0, 'treated-again': 0, 'no-consent': 0, 'not-known': 0 },
  };
}

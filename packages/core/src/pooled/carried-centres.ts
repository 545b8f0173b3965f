import type { Carried, CarriedDoubt } from '../answers/drawn-losses';
import type { MeasureStatistics } from './centre-statistics';
import type { PoolMember } from './pool-member';

/** In how many centres a doubt is carried by the limits of survival, in how many it is not known, and where there is none. */
export type CarriedCentres = Readonly<Record<Carried, number>>;

/** Of what all centres read their curves by. */
export interface CarriedInPool {
  readonly growthReference: CarriedCentres;
  readonly methodError: CarriedCentres;
}

/** In how many centres the limits of survival carry the doubt of growth reference and method error. */
export function carriedInPool(members: readonly PoolMember[]): CarriedInPool {
  const found = members.map(({ statistics }) => carriedBy(statistics));
  const counted = (part: keyof CarriedDoubt): CarriedCentres => {
    const count = (which: Carried): number => found.filter((one) => one[part] === which).length;
    return { carried: count('carried'), 'not-known': count('not-known'), none: count('none') };
  };
  return { growthReference: counted('growthReference'), methodError: counted('methodError') };
}

/** Curves of which a centre gives no moves, since it has few patients or its program does not know them, carry nothing. */
function carriedBy({ doubt, reference }: MeasureStatistics): CarriedDoubt {
  const hasMoves = doubt?.survival != null;
  const unlessMoved = (part: Carried): Carried => (part === 'carried' && !hasMoves ? 'not-known' : part);
  return {
    growthReference: unlessMoved(
      doubt?.carried.growthReference ?? (reference.kind === 'not-needed' ? 'none' : 'not-known'),
    ),
    methodError: unlessMoved(doubt?.carried.methodError ?? 'not-known'),
  };
}

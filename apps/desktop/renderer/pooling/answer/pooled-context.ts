import type { ForestContext } from '@longhold/ui';
import type { PoolingLink } from '../../state/host';
import { shortId } from '../pooling-parts';

/** How a pooled answer is read by this member: what centres are called, and which is the own one. */
export function contextOf(measure: string, level: number, link: PoolingLink): ForestContext {
  const ownCentre = link.role === 'centre' ? link.member : null;
  return {
    measure,
    level,
    ownCentre,
    nameOf: (centre) => (centre === ownCentre ? 'Your clinic' : `Centre ${shortId(centre)}`),
  };
}

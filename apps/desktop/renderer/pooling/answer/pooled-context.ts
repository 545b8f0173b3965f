import { centreName } from '@longhold/core/exchange';
import type { ForestContext } from '@longhold/ui';
import type { PoolingLink, ReleasedAnswer } from '../../state/host';

/** How a pooled answer is read by this member: what centres are called, and which is the own one. */
export function contextOf(
  measure: string,
  {
    view,
    numbers,
  }: { readonly view: { readonly level: number }; readonly numbers: ReleasedAnswer['numbers'] },
  link: PoolingLink,
): ForestContext {
  const ownCentre = link.role === 'centre' ? link.member : null;
  return {
    measure,
    level: view.level,
    ownCentre,
    nameOf: (centre) => centreName(centre, ownCentre, numbers),
  };
}

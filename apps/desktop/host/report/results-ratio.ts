import type { RatioInterval } from '@longhold/core/answers';
import type { Results } from './results-schema';

type Ratio = Pick<Results['retained'][number], 'estimate' | 'limits' | 'intervalKind'>;

/** A share with its confidence set in fields that always exist. */
export function ratioOf(
  share: { readonly estimate: number; readonly interval: RatioInterval } | null,
): Ratio {
  if (share === null) return { estimate: null, limits: null, intervalKind: null };
  const { estimate, interval } = share;
  const { kind } = interval;
  if (kind === 'whole-line') return { estimate, limits: null, intervalKind: kind };
  const lower = kind === 'at-most' ? null : interval.lower;
  const upper = kind === 'at-least' ? null : interval.upper;
  return { estimate, limits: { lower, upper }, intervalKind: kind };
}

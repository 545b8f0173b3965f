import { formatNoun } from '@longhold/ui';
import type { PoolingPreview, PoolingState } from '../../state/host';

/** What stands at the top of what leaves: whether something left yet, and what the next sending does. */
export function contributionSentence(
  { counts, somethingToSend, withdrawals }: PoolingPreview,
  { everSent }: Pick<PoolingState, 'everSent'>,
): string {
  const toSend = counts.new + counts.changed;
  if (!everSent) {
    return toSend === 0
      ? 'Nothing of your clinic has left yet, and there is no record to send.'
      : `Nothing of your clinic has left yet. If you confirm below, ${recordsLeave(toSend)}.`;
  }
  const going =
    withdrawals.length === 0
      ? ''
      : ` ${formatNoun(withdrawals.length, 'patient')} will be withdrawn, because consent is gone.`;
  if (!somethingToSend) return 'The pool holds what your records say now. There is nothing to send.';
  if (toSend === 0)
    return `No record changed since the last sending.${going || ' The sheet of your clinic changed.'}`;
  return `If you confirm below, ${recordsLeave(toSend)}.${going}`;
}

function recordsLeave(count: number): string {
  return `${formatNoun(count, 'record')} ${count === 1 ? 'leaves' : 'leave'}`;
}

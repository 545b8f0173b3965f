import { formatNoun } from '@longhold/ui';
import type { PoolingState, StatisticsPreview } from '../../state/host';

/** What stands at the top of what leaves: whether statistics are there yet, and what the next sending does. */
export function statisticsSentence(
  { statistics, obstacle, somethingToSend, isOthers }: StatisticsPreview,
  { statistics: atService }: Pick<PoolingState, 'statistics'>,
): string {
  if (obstacle !== null) return `Nothing can be sent now. ${obstacle}`;
  const patients = formatNoun(statistics.treated + statistics.untreated, 'patient');
  if (isOthers) return 'Another desktop of your clinic sent other statistics than this one would.';
  if (!somethingToSend) return 'The pool holds what your records say now. There is nothing to send.';
  return atService.held === null
    ? `The pool holds no statistics of your clinic. If you confirm below, those of ${patients} leave.`
    : `If you confirm below, statistics of ${patients} leave in place of the last ones.`;
}

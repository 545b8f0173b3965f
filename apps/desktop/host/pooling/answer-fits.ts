import type {
  ItemAnswer,
  ProcedureAnswer,
  PullAnswer,
  PushAnswer,
  RecordVersion,
} from '@longhold/core/exchange';
import type { PoolingValue } from '../store';
import { ServiceFault } from './service-client';

/** What an answer to a batch may say of an item of each kind. */
const CAN_FOLLOW: Readonly<Record<RecordVersion['kind'], ReadonlySet<ItemAnswer['kind']>>> = {
  record: new Set(['stored', 'already-stored', 'conflict', 'gone']),
  withdrawal: new Set(['withdrawn']),
};

/** No clinic has so many changes that this many pages of its own are not enough. */
export const MOST_PAGES = 2_000;

/**
 * Only what answers a batch item by item is taken; of any other answer nobody knows what is stored, so the batch waits.
 * @throws ServiceFault unreachable
 */
export function requireAnswerTo(
  { batch, items }: { readonly batch: string; readonly items: readonly RecordVersion[] },
  answer: PushAnswer,
): void {
  const fits =
    answer.batch === batch &&
    answer.items.length === items.length &&
    items.every((item, index) => {
      const outcome = answer.items[index];
      const pseudonym = item.kind === 'record' ? item.record.pseudonym : item.pseudonym;
      if (outcome === undefined || outcome.pseudonym !== pseudonym) return false;
      const isOfSame =
        outcome.kind !== 'conflict' || (outcome.head?.record.pseudonym ?? pseudonym) === pseudonym;
      return isOfSame && CAN_FOLLOW[item.kind].has(outcome.kind);
    });
  if (!fits) throw notUnderstood('gave an answer that is not one to what was sent');
}

/**
 * An answer to statistics names those that were sent.
 * @throws ServiceFault unreachable
 */
export function requireStatisticsAnswer(
  { counted }: PoolingValue<'statistics'>,
  { digest }: ProcedureAnswer<'statistics'>,
): void {
  if (digest !== (counted?.digest ?? null))
    throw notUnderstood('gave an answer that is not one to what was sent');
}

/**
 * A page of the clinic's own changes ends the reading or brings it on.
 * @throws ServiceFault unreachable
 */
export function requirePage(
  { cursor, member, pages }: { readonly cursor: number; readonly member: string; readonly pages: number },
  { changes, next, more }: PullAnswer,
): void {
  if (changes.some((change) => change.member !== member)) {
    throw notUnderstood('answered with changes of another clinic');
  }
  const isOnward = more ? next > cursor && changes.length > 0 : next >= cursor;
  if (!isOnward || (more && pages >= MOST_PAGES)) {
    throw notUnderstood('never comes to the end of what it holds of your clinic');
  }
}

function notUnderstood(what: string): ServiceFault {
  return new ServiceFault(
    'unreachable',
    `The service ${what}. Nothing of that answer was taken, and what waits is kept. Ask whoever runs the service before you send again.`,
  );
}

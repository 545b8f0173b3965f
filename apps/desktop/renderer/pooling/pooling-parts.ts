import { formatNoun } from '@longhold/ui';
import type { PoolingPart } from '../state/address';
import type { PoolingLink, PoolingState, Sending } from '../state/host';

/** The two ways of contributing, as they are written. */
export const SENDING_WORDS: Readonly<Record<Sending, string>> = {
  records: 'Records without names',
  statistics: 'Statistics only',
};

/** What the service holds of the clinic. */
export function inPoolText({
  inPool,
  sends,
  statistics,
}: Pick<PoolingState, 'inPool' | 'sends' | 'statistics'>): string {
  if (sends !== 'statistics') return formatNoun(inPool, 'record');
  if (statistics.held === null) return 'No statistics';
  return statistics.patients === null
    ? 'Statistics of another desktop'
    : `Statistics of ${formatNoun(statistics.patients, 'patient')}`;
}

/** What each part is called in the switch. */
export const PART_WORDS: Readonly<Record<PoolingPart, string>> = {
  contribution: 'What leaves',
  sent: 'What has left',
  answer: 'Pooled answer',
  study: 'Study definition',
  members: 'Members and devices',
};

/** Each role's parts, the first one shown first. A reader contributes nothing and changes nothing. */
export const PARTS_OF_ROLE: Readonly<Record<PoolingLink['role'], readonly PoolingPart[]>> = {
  centre: ['contribution', 'sent', 'answer', 'study', 'members'],
  coordinator: ['answer', 'study', 'members'],
  reader: ['answer', 'members'],
};

/** A device or a batch by a name short enough to read: it has no other than a random id. */
export function shortId(id: string): string {
  return id.slice(0, 8);
}

/** A moment as day and minute, universal time; a month as it is. */
export function momentText(moment: string): string {
  return moment.length < 16 ? moment : `${moment.slice(0, 10)} ${moment.slice(11, 16)} UTC`;
}

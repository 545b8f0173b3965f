import type { PoolingBook, PoolingValue } from '../store';
import type { PoolingState } from './answers';
import { countedOf, isHeldKnown } from './who-is-in-pool';

/** What stands at a glance, from what the store holds. */
export function stateOf(book: PoolingBook, running: boolean): PoolingState {
  const link = book.link.get('link');
  const items = [...book.outbox.values()].flatMap((batch) => batch.items);
  const version = link?.definition ?? null;
  const definition = version === null ? undefined : book.definition.get(String(version));
  const held = link?.statistics ?? null;
  const isOthers = !isHeldKnown(book);
  return {
    link: link === undefined ? null : linkOf(link),
    definition: version === null || definition === undefined ? null : { version, definition },
    outbox: {
      batches: book.outbox.size,
      records: items.filter(({ kind }) => kind === 'record').length,
      withdrawals: items.filter(({ kind }) => kind === 'withdrawal').length,
      sheet: book.sheet.has('waiting'),
      statistics: book.statistics.has('waiting'),
    },
    sends: link?.sends ?? null,
    statistics: {
      held,
      isOthers,
      patients: held === null ? 0 : isOthers ? null : (countedOf(book)?.records.length ?? null),
    },
    inPool: book.head.size,
    withdrawn: [...book.withdrawal.values()].filter(({ study }) => study === link?.study).length,
    everSent: [...book.sent.values()].some(
      ({ study, records, statistics }) => study === link?.study && (records > 0 || statistics !== null),
    ),
    lastSent: link?.lastSent ?? null,
    lastChecked: link?.lastChecked ?? null,
    fault: link?.fault ?? null,
    running,
  };
}

function linkOf({
  role,
  address,
  study,
  member,
  device,
  number,
  linkedAt,
}: PoolingValue<'link'>): PoolingState['link'] {
  return { role, address, study, member, device, number, linkedAt };
}

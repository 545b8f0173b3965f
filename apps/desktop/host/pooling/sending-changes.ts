import { countText, patientsText } from '@longhold/core/answers';
import { canonicalJson } from '@longhold/core/exchange';
import { documentOf, type PoolingBook, type PoolingKey, type Sending } from '../store';
import type { SendingPlan } from './answers';
import type { Wanted } from './pooling-memory';
import { digestOf } from './pseudonyms';
import { linkWith } from './link-document';
import { statisticsTakenOut } from './statistics-changes';
import { whoIsInPool } from './who-is-in-pool';
import { withoutRecordsOf } from './withdrawal-changes';

/** What changing over to the other way of sending means now, and what it would take out first. */
export function sendingPlan(book: PoolingBook, to: Sending): SendingPlan {
  const link = book.link.get('link');
  const from = link?.sends ?? null;
  const leaving = to === 'statistics' ? [...whoIsInPool(book).records].sort() : [];
  const held = to === 'records' && from === 'statistics' ? (link?.statistics ?? null) : null;
  const waits = to === 'records' && book.statistics.has('waiting');
  const refused = to === 'records' ? takenForGood(book) : null;
  return {
    from,
    to,
    recordsWithdrawn: leaving.length,
    statisticsTakenOut: held !== null || waits,
    refused,
    words: refused === null ? planWords(to, leaving.length, held !== null || waits) : [refused],
    digest: digestOf(canonicalJson({ from, to, leaving, held, waits })),
  };
}

/** Why a clinic can't send records any more; null where it can. */
function takenForGood(book: PoolingBook): string | null {
  const link = book.link.get('link');
  const count = [...book.changeover.values()].filter(({ member }) => member === link?.member).length;
  if (count === 0) return null;
  return (
    `The records of ${patientsText(count)} were taken out of the pool for good when your clinic changed to ` +
    'statistics, and the service takes nothing under their pseudonyms again. To send records, take the statistics out, ' +
    'unlink this store, and link it with an enrolment code for a new centre, which the coordinator gives.'
  );
}

function planWords(to: Sending, records: number, statistics: boolean): string[] {
  if (to === 'records') {
    return [
      ...(statistics
        ? [
            'The statistics of your clinic are taken out of the pool first, and every pooled answer that held them is deleted.',
          ]
        : []),
      'Your clinic then sends records. Nothing leaves before you have seen each of them and confirmed.',
    ];
  }
  return [
    ...(records === 0
      ? []
      : [
          `The records of ${patientsText(records)} are taken out of the pool first, each with a receipt, and every ` +
            'pooled answer that held them is deleted. That is for good: your clinic cannot go back to sending these ' +
            'patients as records of this centre.',
          'Until your statistics are there, your clinic is not in the pool.',
          'Unlink the other desktops of your clinic first, and link them again with a new link file afterwards; else they ' +
            'take the patients for withdrawn.',
        ]),
    'Your clinic then sends sums and counts only. Nothing leaves before you have seen them and confirmed.',
    ...(records === 0 ? [] : [`${countText(records)} withdrawals go to the service now.`]),
  ];
}

/**
 * Changes over: from then on nothing of the other way is sent, and what is at the service of it goes first. One change, so
 * that a cut leaves either way whole.
 */
export function sendingChanged(
  book: PoolingBook,
  to: Sending,
  given: {
    readonly at: string;
    readonly newKey: () => string;
    readonly codeOf: (pseudonym: string) => string | null;
  },
): Wanted {
  const link = book.link.get('link');
  if (link === undefined) return null;
  const note = { action: 'pooling-choice', patient: null, after: { sends: to } } as const;
  const chosen = linkWith(link, { sends: to });
  if (to === 'records') {
    const takesOut =
      link.sends === 'statistics' && (link.statistics !== null || book.statistics.has('waiting'));
    const out = takesOut ? statisticsTakenOut(book, given.newKey) : null;
    return { put: [chosen, ...(out?.put ?? [])], remove: [], note };
  }
  const { records } = whoIsInPool(book);
  const leaving = [...records].filter((pseudonym) => !book.withdrawal.get(pseudonym)?.pending);
  const asked = leaving.map((pseudonym) =>
    documentOf('changeover', pseudonym, {
      study: link.study,
      member: link.member,
      code: given.codeOf(pseudonym),
      askedAt: given.at,
      pending: true,
      receipt: null,
    }),
  );
  const kept = withoutRecordsOf(book, records, given.newKey);
  const sheet = [...book.sheet.keys()].map((key): PoolingKey => ({ kind: 'sheet', key }));
  return { put: [chosen, ...asked, ...kept.put], remove: [...kept.remove, ...sheet], note };
}

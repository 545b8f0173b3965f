import { pooledRecordSchema } from '@longhold/core/contribution';
import { describe, expect, it } from 'vitest';
import { emptyBook, type PoolingBookDraft, type PoolingValue } from '../store';
import { nextStep, type Heard } from './next-step';

const STUDY = '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a001';
const OTHER = '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a009';
const EPOCH = '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a004';
const AT = '2026-03-10T10:00:00.000Z';
const PSEUDONYM = 'a'.repeat(32);

const LINK: PoolingValue<'link'> = {
  role: 'centre',
  address: 'https://pool.example.org',
  study: STUDY,
  member: STUDY,
  device: STUDY,
  number: 1,
  linkedAt: AT,
  token: 't'.repeat(43),
  tokenSince: AT,
  epoch: EPOCH,
  cursor: 0,
  definition: null,
  sends: 'records',
  statistics: null,
  lastSent: null,
  lastChecked: null,
  fault: null,
};
const RECORD = pooledRecordSchema.parse({
  pseudonym: PSEUDONYM,
  group: 'treated',
  sex: 'female',
  ageMonths: 150,
  protocol: null,
  expansion: null,
  maturityStart: null,
  yearsPassed: 1,
  visits: [],
  events: [],
});
const SESSION = {
  study: STUDY,
  epoch: EPOCH,
  member: STUDY,
  device: STUDY,
  number: 1,
  role: 'centre',
  definition: null,
  sequence: 3,
  statistics: null,
} as const;
const HEARD: Heard = { session: SESSION, pulled: true, compared: true };

function bookWith(fill: (book: PoolingBookDraft) => void = () => undefined): PoolingBookDraft {
  const book = emptyBook();
  book.link.set('link', LINK);
  fill(book);
  return book;
}
const withdrawal = (study: string, pending: boolean): PoolingValue<'withdrawal'> => {
  return { study, code: null, reason: 'asked-for', from: 'records', askedAt: AT, pending, receipt: null };
};
const withBatches = (book: PoolingBookDraft): void => {
  const item = { kind: 'record', version: 'b'.repeat(64), basedOn: null, record: RECORD } as const;
  book.outbox.set('b000000001', { batch: STUDY, definition: 1, items: [item] });
  book.outbox.set('a000000001', {
    batch: STUDY,
    definition: 1,
    items: [{ kind: 'withdrawal', pseudonym: 'c'.repeat(32) }],
  });
};
const kindOf = (book: PoolingBookDraft, heard: Partial<Heard> = {}): string =>
  nextStep(book, { ...HEARD, ...heard }).kind;

describe('What a clinic does next with the service', () => {
  it('is nothing without a link, and nothing once all is done', () => {
    expect(nextStep(emptyBook(), HEARD)).toEqual({ kind: 'done' });
    expect(kindOf(bookWith())).toBe('done');
  });

  it('is to ask who it is before anything leaves', () => {
    expect(kindOf(bookWith(withBatches), { session: null })).toBe('ask-session');
  });

  it('is to read all anew where the service is another than before, before anything is sent to it', () => {
    const session = { ...SESSION, epoch: OTHER };
    expect(nextStep(bookWith(withBatches), { ...HEARD, session })).toEqual({
      kind: 'note-epoch',
      epoch: OTHER,
    });
  });

  it('is to withdraw before the definition is read and before any record goes', () => {
    const pending = bookWith((book) => book.withdrawal.set(PSEUDONYM, withdrawal(STUDY, true)));
    const session = { ...SESSION, definition: 7 };
    expect(kindOf(pending, { session, pulled: false })).toBe('queue-withdrawals');
    const queued = bookWith(withBatches);
    expect(nextStep(queued, { ...HEARD, session, pulled: false })).toEqual({
      kind: 'push',
      key: 'a000000001',
    });
  });

  it('leaves withdrawals alone that are told, or of another study', () => {
    const told = bookWith((book) => book.withdrawal.set(PSEUDONYM, withdrawal(STUDY, false)));
    expect(kindOf(told)).toBe('done');
    const elsewhere = bookWith((book) => book.withdrawal.set(PSEUDONYM, withdrawal(OTHER, true)));
    expect(kindOf(elsewhere)).toBe('done');
  });

  it('is to read before sending: the definition, then the own records; the sheet goes last', () => {
    const book = bookWith((draft) => {
      withBatches(draft);
      draft.outbox.delete('a000000001');
      draft.sheet.set('waiting', {
        definition: 7,
        sheet: {
          methodErrors: [],
          flow: {
            treated: 0,
            contributed: 0,
            withoutConsent: 0,
            withoutEnd: 0,
            withoutStart: 0,
            withoutAge: 0,
            outsideLimits: 0,
            tooFewAlike: 0,
          },
        },
      });
    });
    expect(kindOf(book, { session: { ...SESSION, definition: 7 } })).toBe('read-definition');
    expect(kindOf(book, { pulled: false })).toBe('pull');
    expect(nextStep(book, HEARD)).toEqual({ kind: 'push', key: 'b000000001' });
    book.outbox.clear();
    expect(kindOf(book)).toBe('send-sheet');
  });

  it('sends and reads no records for a coordinator or a reader', () => {
    for (const role of ['coordinator', 'reader'] as const) {
      expect(kindOf(bookWith(), { session: { ...SESSION, role }, pulled: false })).toBe('done');
    }
  });
});

import { randomUUID } from 'node:crypto';
import type { ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import type { IsoDate, Study } from '@longhold/core/records';
import { HostFailure } from '../failure';
import {
  documentOf,
  StoreError,
  type Authorship,
  type PoolingBook,
  type PoolingValue,
  type Store,
} from '../store';
import { requireStrongPassphrase } from '../store/passphrase';
import type {
  LinkFile,
  Page,
  PoolingConflict,
  PoolingFault,
  PoolingPreview,
  PoolingProgress,
  PoolingState,
  PreviewedRecord,
  SentBatch,
  Withdrawal,
} from './answers';
import { confirmed } from './confirm';
import { requireNoneWaiting, waitingWithdrawals } from './consent-withdrawals';
import { RunStopped, runExchange } from './exchange-run';
import { openLink, sealLink } from './link-file';
import { enrol, leave, linked, unlinked, type Enrolment } from './linking';
import { outgoing, type Outgoing } from './outgoing';
import type { AskedThrough, PoolingDesk } from './pooling-desk';
import { PoolingMemory } from './pooling-memory';
import { previewedRecords, previewOf } from './preview';
import { pseudonymOf, secretOf } from './pseudonyms';
import { linkWith } from './service-changes';
import { isOnThisComputer, serviceAddress } from './service-address';
import { serviceClient, ServiceFault } from './service-client';
import { askWithdrawals } from './withdrawal-changes';

/** What pooling needs of the open store. */
export interface PoolingGiven {
  readonly store: Store;
  readonly isDemo: boolean;
  readonly study: () => Promise<Study>;
  readonly today: () => IsoDate;
  readonly now: () => Date;
  readonly authorship: () => Authorship;
  /** Told of revisions that left the patients' records as they were. */
  readonly recordsKept: (from: number, to: number) => void;
}

const IDLE: PoolingProgress = { state: 'idle', step: '', acknowledged: 0, total: 0, fault: null };

/** Pooling from one open store: at most one exchange with the service at a time. */
export class Pooling implements PoolingDesk {
  readonly #given: PoolingGiven;
  readonly #memory: PoolingMemory;
  #progress: PoolingProgress = IDLE;
  #stop = new AbortController();
  /** Settles when the exchange under way has ended; never rejects. */
  #running: Promise<void> = Promise.resolve();
  #made: { readonly key: string; readonly outgoing: Outgoing | null } | null = null;

  constructor(given: PoolingGiven) {
    this.#given = given;
    this.#memory = new PoolingMemory(given.store, given.authorship, given.recordsKept);
  }

  async state(): Promise<PoolingState> {
    const book = await this.#memory.read();
    return stateOf(book, this.#progress.state === 'running');
  }

  link(address: string, code: string): Promise<PoolingState> {
    return this.#link({ address: serviceAddress(address), code, from: null });
  }

  async linkByFile(text: string, passphrase: string): Promise<PoolingState> {
    const { address, code, study, member, secret } = await openLink(text, passphrase);
    return this.#link({ address: serviceAddress(address), code, from: { study, member, secret } });
  }

  async makeLinkFile(passphrase: string): Promise<LinkFile> {
    requireStrongPassphrase(passphrase, 'the link file');
    const book = await this.#memory.read();
    const { address, study, member, role } = linkIn(book);
    const secret = secretOf(book);
    if (role !== 'centre' || secret === null) {
      throw new HostFailure('invalid-input', 'Only a clinic that contributes records needs a link file.');
    }
    const { code, expires } = await this.ask('invite', { role, member });
    const text = await sealLink({ address, study, member, code, secret }, passphrase);
    return { name: 'second-desktop.longhold-link', text, expires };
  }

  async unlink(): Promise<PoolingState> {
    await this.#end();
    const { link } = await this.#memory.read();
    const was = link.get('link');
    if (was !== undefined) await leave(was);
    await this.#memory.change(unlinked);
    this.#progress = IDLE;
    return this.state();
  }

  startCheck(): Promise<PoolingProgress> {
    return this.#start(async () => undefined);
  }

  async preview(): Promise<PoolingPreview | null> {
    const made = await this.#outgoing();
    if (made === null) return null;
    const book = await this.#memory.read();
    return previewOf(made, book, waitingWithdrawals(await this.#given.study(), book));
  }

  async records(page: Parameters<PoolingDesk['records']>[0]): Promise<Page<PreviewedRecord>> {
    const made = await this.#outgoing();
    if (made?.digest !== page.digest) throw previewChanged();
    const sought = page.search.trim().toLowerCase();
    const all = previewedRecords(made, await this.#memory.read()).filter(
      ({ code, standing }) =>
        (page.standing === null || standing === page.standing) && code.toLowerCase().includes(sought),
    );
    return pageOf(all, page);
  }

  startSend(digest: string): Promise<PoolingProgress> {
    return this.#start(async () => {
      requireNoneWaiting(await this.#given.study(), await this.#memory.read());
      const made = await this.#outgoing();
      if (made?.digest !== digest) throw previewChanged();
      await this.#memory.change((book) => confirmed(book, made, randomUUID));
    });
  }

  progress(): PoolingProgress {
    return this.#progress;
  }

  stop(): void {
    this.#stop.abort();
  }

  /** Waits for the exchange under way, however it ends. */
  async finished(): Promise<PoolingProgress> {
    await this.#running;
    return this.#progress;
  }

  async history(page: { readonly offset: number; readonly limit: number }): Promise<Page<SentBatch>> {
    const { sent } = await this.#memory.read();
    const all = [...sent].map(([batch, { study: _study, ...rest }]): SentBatch => ({ batch, ...rest }));
    return pageOf(
      all.sort((a, b) => (a.at < b.at ? 1 : -1)),
      page,
    );
  }

  withdraw(patient: { readonly code: string } | { readonly pseudonym: string }): Promise<PoolingProgress> {
    return this.#start(async () => {
      const book = await this.#memory.read();
      const { pseudonym, code } =
        'code' in patient ? this.#patientOf(book, patient.code) : await this.#coded(book, patient.pseudonym);
      if (book.withdrawal.has(pseudonym)) return;
      const waits = [...book.outbox.values()].some(({ items }) =>
        items.some((item) => item.kind === 'record' && item.record.pseudonym === pseudonym),
      );
      if (!book.head.has(pseudonym) && !waits) {
        throw new HostFailure(
          'unknown-patient',
          'Nothing of this patient is in the pool, as far as the service was asked.',
        );
      }
      const given = { at: this.#given.now().toISOString(), newKey: randomUUID };
      const reason = code === null ? 'not-in-store' : 'asked-for';
      await this.#memory.change((latest) => askWithdrawals(latest, [{ pseudonym, code, reason }], given));
    });
  }

  confirmWithdrawals(digest: string): Promise<PoolingProgress> {
    return this.#start(async () => {
      const study = await this.#given.study();
      const given = { at: this.#given.now().toISOString(), newKey: randomUUID };
      await this.#memory.change((book) => {
        const waiting = waitingWithdrawals(study, book);
        if (waiting?.digest !== digest) throw previewChanged();
        return askWithdrawals(book, waiting.patients, given);
      });
    });
  }

  async withdrawals(): Promise<readonly Withdrawal[]> {
    const { withdrawal } = await this.#memory.read();
    const all = [...withdrawal].map(([pseudonym, { code, reason, askedAt, receipt }]): Withdrawal => ({
      pseudonym,
      code,
      reason,
      askedAt,
      receipt,
    }));
    return all.sort((a, b) => (a.askedAt < b.askedAt ? 1 : -1));
  }

  async conflicts(): Promise<readonly PoolingConflict[]> {
    const made = await this.#outgoing();
    return (made?.changes.conflicts ?? []).map(({ mine, content, theirs }) => ({
      code: made?.codes.get(mine.pseudonym) ?? '',
      pseudonym: mine.pseudonym,
      mine,
      mineDigest: content,
      theirs: theirs.record,
      theirsVersion: theirs.version,
    }));
  }

  async choose(choice: Parameters<PoolingDesk['choose']>[0]): Promise<readonly PoolingConflict[]> {
    const { pseudonym, keep, mineDigest, theirsVersion } = choice;
    const shown = (await this.conflicts()).find((conflict) => conflict.pseudonym === pseudonym);
    if (shown?.mineDigest !== mineDigest || shown.theirsVersion !== theirsVersion) throw previewChanged();
    await this.#memory.change((book) => {
      const head = book.head.get(pseudonym);
      if (head?.version !== theirsVersion) throw previewChanged();
      const settled = keep === 'mine' ? { ...head, own: true } : { ...head, keptAgainst: mineDigest };
      return {
        put: [documentOf('head', pseudonym, settled)],
        remove: [],
        note: { action: 'pooling-choice', patient: shown.code, after: { keep, mineDigest, theirsVersion } },
      };
    });
    return this.conflicts();
  }

  async ask<Name extends AskedThrough | 'publish'>(
    name: Name,
    input: ProcedureInput<Name>,
  ): Promise<ProcedureAnswer<Name>> {
    const { address, token } = linkIn(await this.#memory.read());
    return asHostFailure(() => serviceClient(address, token).ask(name, input));
  }

  async publish(input: ProcedureInput<'publish'>): Promise<ProcedureAnswer<'publish'>> {
    const answer = await this.ask('publish', input);
    await this.startCheck();
    await this.#running;
    return answer;
  }

  /** Ends the exchange under way and waits for it; for closing the store. */
  async close(): Promise<void> {
    await this.#end();
  }

  async #link(enrolment: Enrolment): Promise<PoolingState> {
    const book = await this.#memory.read();
    if (book.link.has('link')) {
      throw new HostFailure('already-linked', 'This store is linked to a study already. Unlink it first.');
    }
    if (this.#given.isDemo && !isOnThisComputer(enrolment.address)) {
      throw new HostFailure(
        'demo-is-fixed',
        'The invented demo can be linked to a service on this computer only, so that invented patients get into no real pool.',
      );
    }
    const at = this.#given.now().toISOString();
    const { link, secret } = await asHostFailure(() => enrol(enrolment, book, at));
    await this.#memory.change((latest) => linked(latest, link, secret));
    await this.startCheck();
    await this.#running;
    return this.state();
  }

  /** Starts an exchange after a preparation whose failure is the caller's; there is no way back once it is prepared. */
  async #start(prepare: () => Promise<void>): Promise<PoolingProgress> {
    if (this.#progress.state === 'running') {
      throw new HostFailure(
        'pooling-busy',
        'An exchange with the service is under way. Wait for it, or stop it.',
      );
    }
    const before = this.#progress;
    this.#progress = { ...IDLE, state: 'running', step: 'Preparing' };
    this.#stop = new AbortController();
    try {
      linkIn(await this.#memory.read());
      await prepare();
    } catch (thrown) {
      this.#progress = before;
      throw thrown;
    }
    const { outbox } = await this.#memory.read();
    const total = [...outbox.values()].reduce((sum, { items }) => sum + items.length, 0);
    this.#progress = { ...this.#progress, total };
    this.#running = this.#exchange();
    return this.#progress;
  }

  async #exchange(): Promise<void> {
    try {
      await runExchange({
        memory: this.#memory,
        study: this.#given.study,
        today: this.#given.today,
        now: this.#given.now,
        stop: this.#stop.signal,
        onStep: (step) => (this.#progress = { ...this.#progress, step }),
        onAcknowledged: (items) => {
          const acknowledged = this.#progress.acknowledged + items;
          const total = Math.max(this.#progress.total, acknowledged);
          this.#progress = { ...this.#progress, acknowledged, total };
        },
      });
      this.#progress = { ...this.#progress, state: 'done', step: '' };
    } catch (thrown) {
      await this.#failed(thrown);
    }
  }

  async #failed(thrown: unknown): Promise<void> {
    if (thrown instanceof RunStopped || this.#stop.signal.aborted) {
      this.#progress = { ...this.#progress, state: 'stopped', step: '' };
      return;
    }
    const fault = faultOf(thrown, this.#given.now().toISOString());
    this.#progress = { ...this.#progress, state: 'failed', step: '', fault };
    await this.#memory
      .change((book) => {
        const link = book.link.get('link');
        if (link === undefined) return null;
        const note = { action: 'pooling-fault', patient: null, after: { code: fault.code } } as const;
        return { put: [linkWith(link, { fault })], remove: [], note };
      })
      .catch(() => undefined);
  }

  async #end(): Promise<void> {
    this.#stop.abort();
    await this.#running;
  }

  /** What would leave now; made anew only where store or day is another. */
  async #outgoing(): Promise<Outgoing | null> {
    const book = await this.#memory.read();
    const link = book.link.get('link');
    const secret = secretOf(book);
    if (link === undefined || secret === null || link.role !== 'centre') return null;
    const study = await this.#given.study();
    const today = this.#given.today();
    const key = `${await this.#given.store.latestRevision()} ${today}`;
    if (this.#made?.key !== key) this.#made = { key, outgoing: outgoing({ study, today, secret, book }) };
    return this.#made.outgoing;
  }

  #patientOf(book: PoolingBook, code: string): { pseudonym: string; code: string } {
    return { pseudonym: pseudonymOf(secretOf(book) ?? '', code), code };
  }

  async #coded(book: PoolingBook, pseudonym: string): Promise<{ pseudonym: string; code: string | null }> {
    const study = await this.#given.study();
    const found = study.find(({ patient }) => pseudonymOf(secretOf(book) ?? '', patient.code) === pseudonym);
    return { pseudonym, code: found?.patient.code ?? null };
  }
}

function stateOf(book: PoolingBook, running: boolean): PoolingState {
  const link = book.link.get('link');
  const items = [...book.outbox.values()].flatMap((batch) => batch.items);
  const version = link?.definition ?? null;
  const definition = version === null ? undefined : book.definition.get(String(version));
  return {
    link: link === undefined ? null : linkOf(link),
    definition: version === null || definition === undefined ? null : { version, definition },
    outbox: {
      batches: book.outbox.size,
      records: items.filter(({ kind }) => kind === 'record').length,
      withdrawals: items.filter(({ kind }) => kind === 'withdrawal').length,
      sheet: book.sheet.has('waiting'),
    },
    inPool: book.head.size,
    withdrawn: [...book.withdrawal.values()].filter(({ study }) => study === link?.study).length,
    everSent: [...book.sent.values()].some(({ study, records }) => study === link?.study && records > 0),
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

/** @throws HostFailure not-linked */
function linkIn(book: PoolingBook): PoolingValue<'link'> {
  const link = book.link.get('link');
  if (link !== undefined) return link;
  throw new HostFailure(
    'not-linked',
    'This store is linked to no study. Link it with an enrolment code or a link file.',
  );
}

function previewChanged(): HostFailure {
  return new HostFailure(
    'preview-changed',
    'What would leave has changed since it was shown. Nothing was sent; look at it again.',
  );
}

function pageOf<Row>(
  all: readonly Row[],
  { offset, limit }: { readonly offset: number; readonly limit: number },
): Page<Row> {
  return { total: all.length, rows: all.slice(offset, offset + limit) };
}

/** What the screens are told of a failed exchange. Faults of the store keep their sentence; of the rest a fixed one. */
function faultOf(thrown: unknown, at: string): PoolingFault {
  if (thrown instanceof ServiceFault) return { at, code: thrown.code, message: thrown.message };
  const message =
    thrown instanceof StoreError || thrown instanceof HostFailure
      ? thrown.message
      : 'The exchange ended by a fault of Longhold’s own. Nothing is lost; what waits is sent at the next occasion.';
  return { at, code: 'unavailable', message };
}

async function asHostFailure<T>(work: () => Promise<T>): Promise<T> {
  try {
    return await work();
  } catch (thrown) {
    if (!(thrown instanceof ServiceFault)) throw thrown;
    throw new HostFailure(
      thrown.code === 'unreachable' ? 'service-unreachable' : 'service-refused',
      thrown.message,
    );
  }
}

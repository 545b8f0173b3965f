import { randomUUID } from 'node:crypto';
import type { ProcedureAnswer, ProcedureInput } from '@longhold/core/exchange';
import type { IsoDate, Study } from '@longhold/core/records';
import { HostFailure } from '../failure';
import { documentOf, type Authorship, type PoolingBook, type Sending, type Store } from '../store';
import { requireStrongPassphrase } from '../store/passphrase';
import type {
  LinkFile,
  MakingProgress,
  Page,
  PoolingConflict,
  PoolingPreview,
  PoolingProgress,
  PoolingState,
  PreviewedRecord,
  SentBatch,
  Unlinked,
  Withdrawal,
} from './answers';
import { confirmed } from './confirm';
import { requireNoneWaiting, waitingWithdrawals } from './consent-withdrawals';
import { asHostFailure, linkIn, previewChanged } from './desk-failures';
import { Exchanges } from './exchanges';
import { openLink, sealLink } from './link-file';
import { enrol, leave, linked, unlinked, type Enrolment } from './linking';
import { MakingPlace, type PoolingThread } from './making-thread';
import type { AskedThrough, PoolingDesk } from './pooling-desk';
import { PoolingMemory } from './pooling-memory';
import { stateOf } from './pooling-state';
import { pseudonymOf } from './pseudonyms';
import { secretOf } from './secret-of';
import { requireSending, SendingDesk } from './sending-desk';
import { isOnThisComputer, serviceAddress } from './service-address';
import { serviceClient } from './service-client';
import { whoIsInPool } from './who-is-in-pool';
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
  /** The thread in which what takes long is made; null where all is made in the host's own. */
  readonly thread: PoolingThread | null;
}

/** Pooling from one open store: at most one exchange with the service at a time. */
export class Pooling implements PoolingDesk {
  readonly #given: PoolingGiven;
  readonly #memory: PoolingMemory;
  readonly #making: MakingPlace;
  readonly #exchanges: Exchanges;
  /** Records or statistics, and all that is done with the latter. */
  readonly sending: SendingDesk;

  constructor(given: PoolingGiven) {
    this.#given = given;
    this.#memory = new PoolingMemory(given.store, given.authorship, given.recordsKept);
    this.#making = new MakingPlace({ ...given, memory: this.#memory });
    const parts = { ...given, memory: this.#memory, maker: this.#making.maker };
    this.#exchanges = new Exchanges(parts);
    this.sending = new SendingDesk({ ...parts, exchanges: this.#exchanges });
  }

  async state(): Promise<PoolingState> {
    return stateOf(await this.#memory.read(), this.#exchanges.progress.state === 'running');
  }

  /** @param sends what the clinic chose to send; null to choose later */
  link(address: string, code: string, sends: Sending | null = 'records'): Promise<PoolingState> {
    return this.#link({ address: serviceAddress(address), code, from: null, sends });
  }

  async linkByFile(text: string, passphrase: string): Promise<PoolingState> {
    const { address, code, sends, ...from } = await openLink(text, passphrase);
    return this.#link({ address: serviceAddress(address), code, from, sends });
  }

  async makeLinkFile(passphrase: string): Promise<LinkFile> {
    requireStrongPassphrase(passphrase, 'the link file');
    const book = await this.#memory.read();
    const { address, study, member, role, sends } = linkIn(book);
    const secret = secretOf(book);
    if (role !== 'centre' || secret === null) {
      throw new HostFailure('invalid-input', 'Only a clinic that contributes to the pool needs a link file.');
    }
    const { code, expires } = await this.ask('invite', { role, member });
    const withdrawn = [...book.withdrawal].flatMap(([pseudonym, one]) =>
      one.study === study ? [pseudonym] : [],
    );
    const text = await sealLink({ address, study, member, code, secret, sends, withdrawn }, passphrase);
    return { name: 'second-desktop.longhold-link', text, expires };
  }

  async unlink(): Promise<Unlinked> {
    await this.#exchanges.end();
    const { link } = await this.#memory.read();
    const was = link.get('link');
    const accessLeft = was === undefined ? null : await leave(was);
    await this.#memory.change(unlinked);
    this.#exchanges.forget();
    return { ...(await this.state()), accessLeft };
  }

  startCheck(): Promise<PoolingProgress> {
    return this.#exchanges.start();
  }

  preview(): Promise<PoolingPreview | null> {
    return this.#making.maker.preview();
  }

  async records(page: Parameters<PoolingDesk['records']>[0]): Promise<Page<PreviewedRecord>> {
    const records = await this.#making.maker.records(page);
    if (records === null) throw previewChanged();
    return records;
  }

  startSend(digest: string): Promise<PoolingProgress> {
    return this.#exchanges.start(async () => {
      const book = await this.#memory.read();
      requireSending(book.link.get('link')?.sends ?? null, 'records');
      requireNoneWaiting(await this.#given.study(), book);
      const made = await this.#making.maker.toConfirm();
      if (made?.digest !== digest) throw previewChanged();
      await this.#memory.change((latest) => {
        requireSending(linkIn(latest).sends, 'records');
        return confirmed(latest, made, randomUUID);
      });
    });
  }

  progress(): PoolingProgress {
    return this.#exchanges.progress;
  }

  stop(): void {
    this.#exchanges.stop();
  }

  /** Waits for the exchange under way, however it ends. */
  finished(): Promise<PoolingProgress> {
    return this.#exchanges.finished();
  }

  /** How the making of what would leave goes on. */
  making(): MakingProgress {
    return this.#making.progress;
  }

  /** Stops making what would leave; whoever waits for it is told so. */
  stopMaking(): Promise<void> {
    return this.#making.stop();
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
    return this.#exchanges.start(async () => {
      const book = await this.#memory.read();
      const { pseudonym, code } =
        'code' in patient ? this.#patientOf(book, patient.code) : await this.#coded(book, patient.pseudonym);
      if (book.withdrawal.has(pseudonym)) return;
      const { records, statistics } = whoIsInPool(book);
      if (!records.has(pseudonym) && !statistics.has(pseudonym)) {
        throw new HostFailure(
          'unknown-patient',
          'Nothing of this patient is in the pool, as far as the service was asked.',
        );
      }
      const given = { at: this.#given.now().toISOString(), newKey: randomUUID };
      const reason = code === null ? 'not-in-store' : 'asked-for';
      const from = records.has(pseudonym) ? 'records' : 'statistics';
      await this.#memory.change((latest) =>
        askWithdrawals(latest, [{ pseudonym, code, reason, from }], given),
      );
    });
  }

  confirmWithdrawals(digest: string): Promise<PoolingProgress> {
    return this.#exchanges.start(async () => {
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
    const { withdrawal, changeover } = await this.#memory.read();
    const asked = [...withdrawal].map(([pseudonym, one]): Withdrawal => {
      const { code, reason, askedAt, pending, receipt } = one;
      return { pseudonym, code, reason, askedAt, pending, receipt };
    });
    const changed = [...changeover].map(([pseudonym, one]): Withdrawal => {
      const { code, askedAt, pending, receipt } = one;
      return { pseudonym, code, reason: 'sends-statistics-now', askedAt, pending, receipt };
    });
    return [...asked, ...changed].sort((a, b) => (a.askedAt < b.askedAt ? 1 : -1));
  }

  conflicts(): Promise<readonly PoolingConflict[]> {
    return this.#making.maker.conflicts();
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
    stop?: AbortSignal,
  ): Promise<ProcedureAnswer<Name>> {
    const { address, token, epoch } = linkIn(await this.#memory.read());
    return asHostFailure(() => serviceClient(address, token, epoch).ask(name, input, stop));
  }

  async publish(input: ProcedureInput<'publish'>): Promise<ProcedureAnswer<'publish'>> {
    const answer = await this.ask('publish', input);
    await this.startCheck();
    await this.#exchanges.finished();
    return answer;
  }

  /** Ends the exchange under way and waits for it; for closing the store. */
  async close(): Promise<void> {
    await this.#making.stop();
    await this.#exchanges.end();
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
    await this.#memory.change((latest) => linked(latest, link, secret, enrolment.from));
    await this.startCheck();
    await this.#exchanges.finished();
    return this.state();
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

function pageOf<Row>(
  all: readonly Row[],
  { offset, limit }: { readonly offset: number; readonly limit: number },
): Page<Row> {
  return { total: all.length, rows: all.slice(offset, offset + limit) };
}

import { randomUUID } from 'node:crypto';
import type { IsoDate, Study } from '@longhold/core/records';
import { documentOf, type PoolingBook, type PoolingValue } from '../store';
import { acknowledged } from './acknowledged';
import { requireAnswerTo, requirePage } from './answer-fits';
import { waitingWithdrawals, withdrawnUnasked } from './consent-withdrawals';
import { nextStep, type Heard, type Step } from './next-step';
import { linkWith } from './link-document';
import type { Maker } from './maker';
import { MakingPlace } from './making-thread';
import type { PoolingMemory } from './pooling-memory';
import { pseudonymOf, tombstoneOf } from './pseudonyms';
import { secretOf } from './secret-of';
import { acknowledgedIn, SentOutcomes } from './sent-outcomes';
import {
  areStatisticsStale,
  discardRefused,
  noteDefinition,
  noteEpoch,
  notePull,
  queueRepeats,
  staleBatches,
} from './service-changes';
import { serviceClient, ServiceFault, type ServiceClient } from './service-client';
import { heldStatistics, sameStatistics, withdrawnTakenOut } from './statistics-changes';
import { sendStatistics } from './send-statistics';
import { askWithdrawals, queueWithdrawals } from './withdrawal-changes';

/** A token is replaced after so many days, so that one that was copied doesn't work for ever. */
const TOKEN_DAYS = 30;
const MILLISECONDS_A_DAY = 86_400_000;
/** A service that keeps changing its mind must not keep a run going for ever. */
const MOST_RENEWALS = 5;

/** Refusals that the same batch would meet again and again. Nothing of it is stored there. */
const NEVER_TAKEN: ReadonlySet<ServiceFault['code']> = new Set([
  'batch-reused',
  'wrong-digest',
  'wrong-input',
  'too-large',
  'mixed-contribution',
]);

const STEP_WORDS: Readonly<Record<Step['kind'], string>> = {
  'ask-session': 'Asking the service',
  'note-epoch': 'The service was restored from a backup; reading it anew',
  'queue-withdrawals': 'Withdrawing',
  'queue-repeats': 'Preparing what the restored service lacks',
  compare: 'Comparing with the records here',
  'take-out-withdrawn': 'Making the statistics without who withdrew',
  'compare-statistics': 'Comparing with the statistics of these records',
  'send-statistics': 'Sending statistics',
  'statistics-differ': '',
  push: 'Sending',
  'read-definition': 'Reading the study definition',
  pull: 'Reading what the service holds of your clinic',
  'send-sheet': 'Sending method errors and flow',
  done: '',
};

/** What a run needs. */
export interface RunGiven {
  readonly memory: PoolingMemory;
  /** The clinic's records as they are now. */
  readonly study: () => Promise<Study>;
  /** The day on which the records are looked at. */
  readonly today: () => IsoDate;
  readonly now: () => Date;
  readonly stop: AbortSignal;
  /** Told before each step, and after each batch how many items were acknowledged. */
  readonly onStep: (words: string) => void;
  readonly onAcknowledged: (items: number) => void;
  /** Told after each batch what became of all that was sent so far, a sentence each. */
  readonly onSaid?: (words: readonly string[]) => void;
  /** Makes what takes long; in this thread where there is none. */
  readonly maker?: Maker;
  /** For tests. */
  readonly client?: (link: PoolingValue<'link'>) => ServiceClient;
}

/** Thrown where the person asked to stop; what was confirmed stays in the outbox. */
export class RunStopped extends Error {}

/**
 * Exchanges with the service until nothing is left to do: withdraws, reads, sends. Every answer is written to the store
 * before the next request, so a run that ends anywhere, however it ends, is gone on with by the next one.
 *
 * @throws ServiceFault, RunStopped, StoreError
 */
export async function runExchange(given: RunGiven): Promise<void> {
  const recordsWait = await withdrawWhereConsentIsGone(given);
  await replaceOldToken(given);
  const run = new ExchangeRun(given, recordsWait);
  while (await run.step());
}

/**
 * Before anything else is sent: patients whose consent is gone are to be withdrawn.
 * @returns whether they are so many that a person has to confirm it first
 */
async function withdrawWhereConsentIsGone({ memory, study, now }: RunGiven): Promise<boolean> {
  const records = await study();
  const book = await memory.change((latest) => {
    const given = { at: now().toISOString(), newKey: randomUUID };
    return askWithdrawals(latest, withdrawnUnasked(records, latest), given);
  });
  return waitingWithdrawals(records, book) !== null;
}

/** The new token is written down before it is used, and the old one works until then, so no cut locks anyone out. */
async function replaceOldToken(given: RunGiven): Promise<void> {
  const link = (await given.memory.read()).link.get('link');
  if (link === undefined) return;
  const age = given.now().getTime() - new Date(link.tokenSince).getTime();
  // One that seems to come from the future was drawn while the clock was wrong: nobody knows how old it is.
  if (age >= 0 && age < TOKEN_DAYS * MILLISECONDS_A_DAY) return;
  const { token } = await clientOf(given, link).ask('rotateToken', {}, given.stop);
  const tokenSince = given.now().toISOString();
  await given.memory.change((book) => {
    const latest = book.link.get('link');
    if (latest === undefined) return null;
    const note = { action: 'pooling-linked', patient: null, after: { tokenReplaced: true } } as const;
    return { put: [linkWith(latest, { token, tokenSince })], remove: [], note };
  });
}

function clientOf(given: RunGiven, link: PoolingValue<'link'>): ServiceClient {
  return given.client?.(link) ?? serviceClient(link.address, link.token, link.epoch);
}

/** One exchange, step by step. */
class ExchangeRun {
  readonly #given: RunGiven;
  readonly #maker: Maker;
  #heard: Heard = { session: null, pulled: false, compared: false };
  #renewals = 0;
  #pages = 0;
  readonly #outcomes = new SentOutcomes();
  /** Whether something that was confirmed is not sent, because the study definition has changed since. */
  #isOutdated = false;

  /** Whether no record may leave because withdrawals wait for a person. */
  #recordsWait: boolean;

  constructor(given: RunGiven, recordsWait: boolean) {
    this.#given = given;
    this.#recordsWait = recordsWait;
    this.#maker = given.maker ?? new MakingPlace({ ...given, thread: null }).maker;
  }

  /** Does one thing; false when there is nothing left to do. */
  async step(): Promise<boolean> {
    const { memory, stop, onStep } = this.#given;
    if (stop.aborted) throw new RunStopped();
    const book = await memory.read();
    const link = book.link.get('link');
    const next = nextStep(book, this.#heard, this.#recordsWait);
    if (link === undefined || next.kind === 'done') return this.#end(book);
    onStep(STEP_WORDS[next.kind]);
    try {
      await this.#take(next, link, book);
    } catch (thrown) {
      if (!(thrown instanceof ServiceFault) || thrown.code !== 'epoch-changed') throw thrown;
      this.#renew();
    }
    return true;
  }

  /** @throws ServiceFault where something that was confirmed was not sent, or not taken as withdrawn by nobody here */
  #end(book: PoolingBook): false {
    this.#outcomes.requireAsked(book);
    if (!this.#isOutdated) return false;
    throw new ServiceFault(
      'definition-outdated',
      'The study definition has changed since you confirmed. What was not sent yet is not sent under the old one. Look at what would leave now, and confirm it anew.',
    );
  }

  async #take(next: Step, link: PoolingValue<'link'>, book: PoolingBook): Promise<void> {
    const { memory } = this.#given;
    switch (next.kind) {
      case 'ask-session':
        return this.#askSession(link);
      case 'note-epoch':
        this.#heard = { ...this.#heard, pulled: false, compared: false };
        return void (await memory.change((latest) => noteEpoch(latest, next.epoch, randomUUID)));
      case 'queue-withdrawals':
        return void (await memory.change((latest) => queueWithdrawals(latest, randomUUID)));
      case 'queue-repeats':
        return void (await memory.change((latest) => queueRepeats(latest, randomUUID)));
      case 'read-definition':
        return this.#readDefinition(link, book);
      case 'pull':
        return this.#pull(link);
      case 'compare':
        return this.#compare();
      case 'push':
        return this.#push(link, next.key, book);
      case 'send-sheet':
        return this.#sendSheet(link, book);
      case 'take-out-withdrawn':
        return this.#takeOutWithdrawn();
      case 'compare-statistics':
        return this.#compareStatistics();
      case 'send-statistics':
        return this.#sendStatistics(link);
      case 'statistics-differ':
        throw statisticsDiffer();
      case 'done':
        return;
    }
  }

  async #askSession(link: PoolingValue<'link'>): Promise<void> {
    const session = await this.#client(link).ask('session', {}, this.#given.stop);
    if (session.study !== link.study || session.member !== link.member) {
      throw new ServiceFault(
        'not-signed-in',
        'The service at this address belongs to another study than the one this store is linked to. Unlink, and link anew.',
      );
    }
    this.#heard = { session, pulled: false, compared: false };
    const at = this.#given.now().toISOString();
    await this.#given.memory.change((book) => {
      const latest = book.link.get('link');
      if (latest === undefined) return null;
      const { sequence, epoch } = session;
      // A restored service may lack what is still to go there again.
      const held =
        latest.epoch === null || latest.epoch === epoch
          ? heldStatistics(book, session.statistics)
          : { parts: { statistics: session.statistics }, remove: [] };
      const note = { action: 'pooling-checked', patient: null, after: { sequence } } as const;
      const link = linkWith(latest, { lastChecked: at, fault: null, ...held.parts });
      return { put: [link], remove: held.remove, note };
    });
  }

  async #readDefinition(link: PoolingValue<'link'>, book: PoolingBook): Promise<void> {
    const answer = await this.#client(link).ask('definition', {}, this.#given.stop);
    const { version } = answer;
    this.#isOutdated ||= staleBatches(book, answer).length > 0 || areStatisticsStale(book, answer);
    await this.#given.memory.change((latest) => noteDefinition(latest, answer));
    if (this.#heard.session?.definition !== version) this.#renew();
  }

  async #pull(link: PoolingValue<'link'>): Promise<void> {
    const answer = await this.#client(link).ask('pull', { after: link.cursor, of: 'own' }, this.#given.stop);
    if (answer.epoch !== link.epoch) return this.#renew();
    requirePage({ cursor: link.cursor, member: link.member, pages: ++this.#pages }, answer);
    const study = await this.#given.study();
    const at = this.#given.now().toISOString();
    await this.#given.memory.change((book) => {
      const isAnyGone = answer.changes.some(({ kind }) => kind === 'withdrawal');
      const tombstones = isAnyGone ? tombstonesOf(study, book, link.member) : NO_TOMBSTONES;
      return notePull(book, answer, {
        pseudonymOf: (tombstone) => tombstones.get(tombstone) ?? null,
        at,
        newKey: randomUUID,
      });
    });
    if (answer.more) return;
    this.#heard = { ...this.#heard, pulled: true, compared: false };
    // What was read may be of patients whose consent went while this store did not know that they are there.
    this.#recordsWait = await withdrawWhereConsentIsGone(this.#given);
  }

  async #compare(): Promise<void> {
    const same = await this.#maker.sameAsHere();
    await this.#given.memory.change((book) => {
      const heads = same.flatMap(({ pseudonym, version }) => {
        const head = book.head.get(pseudonym);
        return head?.version === version ? [documentOf('head', pseudonym, { ...head, own: true })] : [];
      });
      if (heads.length === 0) return null;
      const note = { action: 'pooling-checked', patient: null, after: { sameAsHere: heads.length } } as const;
      return { put: heads, remove: [], note };
    });
    this.#heard = { ...this.#heard, compared: true };
  }

  async #compareStatistics(): Promise<void> {
    const made = await this.#maker.statistics();
    const at = this.#given.now().toISOString();
    await this.#given.memory.change((book) =>
      made === null ? null : sameStatistics(book, made.counted, at),
    );
    this.#heard = { ...this.#heard, compared: true };
  }

  async #takeOutWithdrawn(): Promise<void> {
    const without = await this.#maker.withoutWithdrawn();
    if (without === null) return;
    await this.#given.memory.change((book) => withdrawnTakenOut(book, without, randomUUID));
  }

  async #sendStatistics(link: PoolingValue<'link'>): Promise<void> {
    const { memory, now, stop, onAcknowledged } = this.#given;
    const sent = await sendStatistics(this.#client(link), { memory, now, stop });
    if (sent === 'outdated') return this.#renew();
    this.#outcomes.noteStatistics();
    onAcknowledged(1);
    this.#given.onSaid?.(this.#outcomes.words());
  }

  async #push(link: PoolingValue<'link'>, key: string, book: PoolingBook): Promise<void> {
    const waiting = book.outbox.get(key);
    if (waiting === undefined) return;
    const { batch, definition, items } = waiting;
    try {
      const answer = await this.#client(link).ask('push', { batch, definition, items }, this.#given.stop);
      if (answer.epoch !== link.epoch) return this.#renew();
      requireAnswerTo(waiting, answer);
      const at = this.#given.now().toISOString();
      await this.#given.memory.change((latest) => acknowledged(latest, key, answer, at));
      this.#outcomes.note(answer, book);
      this.#given.onAcknowledged(acknowledgedIn(answer));
      this.#given.onSaid?.(this.#outcomes.words());
      if (answer.items.some(({ kind }) => kind === 'conflict' || kind === 'gone'))
        this.#heard = { ...this.#heard, pulled: false, compared: false };
    } catch (thrown) {
      if (thrown instanceof ServiceFault && NEVER_TAKEN.has(thrown.code)) {
        await this.#given.memory.change((latest) => discardRefused(latest, key, batch));
      }
      const isOutdated = thrown instanceof ServiceFault && thrown.code === 'definition-outdated';
      if (!isOutdated || this.#renewals === MOST_RENEWALS) throw thrown;
      this.#renew();
    }
  }

  async #sendSheet(link: PoolingValue<'link'>, book: PoolingBook): Promise<void> {
    const waiting = book.sheet.get('waiting');
    if (waiting === undefined) return;
    await this.#client(link).ask('sheet', waiting, this.#given.stop);
    const at = this.#given.now().toISOString();
    await this.#given.memory.change((latest) => {
      const linked = latest.link.get('link');
      const isStill = JSON.stringify(latest.sheet.get('waiting')) === JSON.stringify(waiting);
      if (linked === undefined || !isStill) return null;
      return {
        put: [{ kind: 'sheet', key: 'sent', value: waiting }, linkWith(linked, { lastSent: at })],
        remove: [{ kind: 'sheet', key: 'waiting' }],
        note: { action: 'pooling-acknowledged', patient: null, after: { sheet: waiting.definition } },
      };
    });
  }

  /** What was heard may be outdated: ask again. */
  #renew(): void {
    this.#renewals++;
    if (this.#renewals > MOST_RENEWALS) {
      throw new ServiceFault(
        'unavailable',
        'The service changes faster than it can be read. Try again later.',
      );
    }
    this.#heard = { session: null, pulled: false, compared: false };
  }

  #client(link: PoolingValue<'link'>): ServiceClient {
    return clientOf(this.#given, link);
  }
}

function statisticsDiffer(): ServiceFault {
  return new ServiceFault(
    'statistics-conflict',
    'Patients are to be taken out, but another desktop of your clinic sent other statistics, so this one cannot say who is in them. Withdraw the patients at that desktop, or send the statistics of this one in place of those, or take the statistics of the clinic out.',
  );
}

type Tombstones = ReadonlyMap<string, { readonly pseudonym: string; readonly code: string | null }>;
const NO_TOMBSTONES: Tombstones = new Map();

/** The pseudonyms that tombstones of this clinic can stand for, with the clinic's own codes. */
function tombstonesOf(study: Study, book: PoolingBook, member: string): Tombstones {
  const secret = secretOf(book);
  const known = [...book.head.keys(), ...book.before.keys()].map((pseudonym) => ({ pseudonym, code: null }));
  const here =
    secret === null
      ? []
      : study.map(({ patient: { code } }) => ({ pseudonym: pseudonymOf(secret, code), code }));
  return new Map([...known, ...here].map((one) => [tombstoneOf(member, one.pseudonym), one]));
}

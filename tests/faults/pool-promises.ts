import { createHash } from 'node:crypto';
import { canonicalRecord, clinicContribution, studyDefinitionSchema } from '@longhold/core/contribution';
import { tombstoneText } from '@longhold/core/exchange';
import type { OpenStudy } from '@longhold/desktop/host/open-study';
import { pseudonymOf } from '@longhold/desktop/host/pooling/pseudonyms';
import { DEFINITION } from '../pooling/programs';
import { pulledOf, type Pulled } from './pulled';
import type { PoolLine } from './programs/pool-ledger';

/** What was seen right after a kill. */
export interface SeenAfterKill {
  /** Items in the outbox. */
  readonly waiting: number;
  /** Of these the service had stored already. */
  readonly unknownStored: number;
}

/** The service as somebody sees it who asks for the clinic's own records. */
interface Looking {
  readonly port: number;
  readonly token: string;
  readonly member: string;
}

type ClinicLine = Extract<PoolLine, { clinic: number }>;
type Book = Awaited<ReturnType<OpenStudy['store']['readPooling']>>['book'];

const definition = studyDefinitionSchema.parse(DEFINITION);

/**
 * What a clinic's program promised while it was killed over and over, and whether that holds: what was put into the
 * outbox waits there, or is at the service, or gave way to something newer or to a withdrawal; what was acknowledged is
 * at the service once; nobody who was withdrawn is; nothing is there that was never put into the outbox.
 */
export class PoolPromises {
  /** Versions that may have left, by pseudonym, in the order in which they were to be written. */
  readonly #put = new Map<string, string[]>();
  /** The newest version of each that was promised to be kept. */
  readonly #promised = new Map<string, string>();
  readonly #consentGone = new Set<string>();

  /** Takes in a line that the program said of this clinic. */
  hear({ putting = [], put = [], consentGone }: ClinicLine): void {
    for (const { pseudonym, version } of putting) {
      if (version !== null) this.#put.set(pseudonym, [...(this.#put.get(pseudonym) ?? []), version]);
    }
    for (const { pseudonym, version } of put) {
      if (version !== null) this.#promised.set(pseudonym, version);
    }
    if (consentGone !== undefined) this.#consentGone.add(consentGone);
  }

  /** @throws Error where something that was promised does not hold */
  async lookAround({ store }: OpenStudy, looking: Looking): Promise<SeenAfterKill> {
    const { book } = await store.readPooling();
    const there = await pulledOf(looking.port, looking.token);
    const waiting = new Map<string, string>();
    for (const { items } of book.outbox.values()) {
      for (const item of items) if (item.kind === 'record') waiting.set(item.record.pseudonym, item.version);
    }
    this.#requireAcknowledged(book, there, waiting, looking.member);
    this.#requirePromised(book, there, waiting);
    this.#requireNothingElse(there);
    const unknownStored = [...waiting].filter(
      ([pseudonym, version]) => there.records.get(pseudonym)?.version === version,
    ).length;
    return { waiting: waiting.size, unknownStored };
  }

  /** Every head of the store is at the service, unless the next version waits or the patient is withdrawn. */
  #requireAcknowledged(
    book: Book,
    there: Pulled,
    waiting: ReadonlyMap<string, string>,
    member: string,
  ): void {
    for (const [pseudonym, { version }] of book.head) {
      const held = there.records.get(pseudonym)?.version;
      const isThere = held !== undefined && (held === version || held === waiting.get(pseudonym));
      // Whoever is being withdrawn may still be there, in a version whose answer was lost, or be gone already.
      if (isThere || book.withdrawal.has(pseudonym)) continue;
      throw new Error(`an acknowledged version is not at the service: ${pseudonym}`);
    }
    for (const [pseudonym, { receipt, pending }] of book.withdrawal) {
      if (receipt === null && !pending) throw new Error(`a withdrawal would never be sent: ${pseudonym}`);
      if (receipt === null) continue;
      if (there.records.has(pseudonym))
        throw new Error(`a withdrawn patient is at the service: ${pseudonym}`);
      if (!there.tombstones.has(tombstoneOf(member, pseudonym)))
        throw new Error(`a receipt was given for nothing: ${pseudonym}`);
    }
  }

  #requirePromised(book: Book, there: Pulled, waiting: ReadonlyMap<string, string>): void {
    for (const [pseudonym, version] of this.#promised) {
      if (book.withdrawal.has(pseudonym)) continue;
      const made = this.#put.get(pseudonym) ?? [];
      const from = made.indexOf(version);
      const held = [waiting.get(pseudonym), there.records.get(pseudonym)?.version];
      if (!held.some((one) => one !== undefined && made.indexOf(one) >= from))
        throw new Error(`what was promised to be sent is lost: ${pseudonym}`);
    }
  }

  #requireNothingElse(there: Pulled): void {
    for (const [pseudonym, { version }] of there.records) {
      if (this.#put.get(pseudonym)?.includes(version) !== true)
        throw new Error(`the service holds what was never put into the outbox: ${pseudonym}`);
    }
  }

  /** Sends everything without a fault and compares the service with the store, record for record. */
  async sendAllAndCompare(
    open: OpenStudy,
    looking: Looking,
  ): Promise<{ readonly records: number; readonly withdrawn: number }> {
    const { pooling, store } = open;
    await pooling.startCheck();
    await pooling.finished();
    const waiting = (await pooling.preview())?.withdrawalsToConfirm ?? null;
    if (waiting !== null) {
      await pooling.confirmWithdrawals(waiting.digest);
      await pooling.finished();
    }
    const preview = await pooling.preview();
    if (preview === null) throw new Error('no study definition came');
    await pooling.startSend(preview.digest);
    const { state, fault } = await pooling.finished();
    if (state !== 'done') throw new Error(`the last sending ended as ${state}: ${fault?.message ?? ''}`);
    const { book } = await store.readPooling();
    if (book.outbox.size > 0 || book.sheet.has('waiting')) throw new Error('something still waits');
    const there = await pulledOf(looking.port, looking.token);
    const study = await store.readStudy();
    const [{ secret } = { secret: '' }] = book.secret.values();
    const { records } = clinicContribution(study, definition, (code) => pseudonymOf(secret, code), {
      asOf: open.today,
      filmFactor: null,
    });
    const here = records.map(canonicalRecord).sort();
    const held = [...there.records.values()].map(({ record }) => canonicalRecord(record)).sort();
    if (JSON.stringify(here) !== JSON.stringify(held))
      throw new Error('the service does not hold the clinic’s records in their latest form');
    const gone = [...this.#consentGone].filter((pseudonym) => book.withdrawal.has(pseudonym));
    const tombstones = new Set(gone.map((pseudonym) => tombstoneOf(looking.member, pseudonym)));
    const isEveryone =
      tombstones.size === there.tombstones.size &&
      [...tombstones].every((tombstone) => there.tombstones.has(tombstone)) &&
      gone.every((pseudonym) => book.withdrawal.get(pseudonym)?.receipt != null);
    if (!isEveryone) throw new Error('those withdrawn at the service are not those whose consent is gone');
    return { records: held.length, withdrawn: gone.length };
  }
}

function tombstoneOf(member: string, pseudonym: string): string {
  return createHash('sha256').update(tombstoneText(member, pseudonym)).digest('hex');
}

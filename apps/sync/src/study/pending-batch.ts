import type { UnpackedBatch, UnpackedRecord } from '../batch/unpack-batch';
import type { StudyReader, TombstoneRow, VersionFacts, VersionRow } from '../store/sync-store';
import { decideRecord } from './decide-item';
import { tombstoneDigest } from './secrets';

/** What became of one item. A version's sequence counts from the batch's first where this batch brought it. */
export type ItemOutcome =
  | {
      readonly kind: 'version';
      readonly pseudonym: string;
      readonly sequence: number;
      readonly batch: string;
    }
  | { readonly kind: 'conflict' | 'gone' | 'withdrawn'; readonly pseudonym: string };

/** What has to be written of a batch. */
export interface BatchPlan {
  readonly versions: readonly VersionRow[];
  /** Versions in the store that lose their record to a newer one. */
  readonly replaced: readonly string[];
  /** Pseudonyms of which everything is deleted. */
  readonly withdrawn: readonly string[];
  readonly tombstones: readonly TombstoneRow[];
}

/** A patient of the batch: what the store holds, and what the items so far have made of it. */
interface Patient {
  readonly stored: readonly VersionFacts[];
  versions: VersionFacts[];
  tombstone: TombstoneRow | null;
}

/** A batch on its way into the store: decides item after item, each on top of those before it. */
export class PendingBatch {
  readonly member: string;
  readonly key: string;
  /** Of its content. */
  readonly digest: string;
  readonly #sent: UnpackedBatch;
  readonly #patients: ReadonlyMap<string, Patient>;
  #accepted: { readonly item: UnpackedRecord; readonly offset: number }[] = [];
  readonly #newlyWithdrawn = new Set<string>();
  #changes = 0;
  #first = 0;
  #stored = 0;

  private constructor(member: string, sent: UnpackedBatch, patients: ReadonlyMap<string, Patient>) {
    this.member = member;
    this.key = sent.batch;
    this.digest = sent.digest;
    this.#sent = sent;
    this.#patients = patients;
  }

  /** Reads what the store holds of the batch's patients. */
  static async read(reader: StudyReader, member: string, sent: UnpackedBatch): Promise<PendingBatch> {
    const pseudonyms = [...new Set(sent.items.map(({ pseudonym }) => pseudonym))];
    const digests = new Map(pseudonyms.map((pseudonym) => [tombstoneDigest(member, pseudonym), pseudonym]));
    const patients = new Map<string, Patient>(
      pseudonyms.map((pseudonym) => [pseudonym, { stored: [], versions: [], tombstone: null }]),
    );
    for (const facts of await reader.versionsOf(member, pseudonyms)) {
      const stored = [...(patients.get(facts.pseudonym)?.stored ?? []), facts];
      patients.set(facts.pseudonym, { stored, versions: stored, tombstone: null });
    }
    for (const tombstone of await reader.tombstonesOf(member, [...digests.keys()])) {
      const pseudonym = digests.get(tombstone.digest);
      if (pseudonym !== undefined) patients.set(pseudonym, { stored: [], versions: [], tombstone });
    }
    return new PendingBatch(member, sent, patients);
  }

  /** Versions and withdrawals that are new by this batch; each takes a sequence number. */
  get stored(): number {
    return this.#stored;
  }
  get withdrawn(): number {
    return this.#newlyWithdrawn.size;
  }

  /** Decides every item of a new batch, in order. A record that the same batch withdraws later is gone. */
  decideAll(): ItemOutcome[] {
    const outcomes = this.#sent.items.map((item) =>
      item.kind === 'record' ? this.#take(item) : this.#withdraw(item.pseudonym),
    );
    return outcomes.map((outcome) =>
      outcome.kind !== 'withdrawn' && this.#newlyWithdrawn.has(outcome.pseudonym)
        ? { kind: 'gone', pseudonym: outcome.pseudonym }
        : outcome,
    );
  }

  /** What has become of the items of a batch that was stored before; changes nothing. */
  outcomesAsItStands(): ItemOutcome[] {
    return this.#sent.items.map((item) => {
      const { pseudonym } = item;
      if (item.kind === 'withdrawal') return { kind: 'withdrawn', pseudonym };
      const decision = decideRecord(this.#patient(pseudonym), item);
      if (decision.kind === 'there-already') return { ...decision, kind: 'version', pseudonym };
      // What could be taken now could not be then: it stays a conflict of this batch, and may come in another one.
      return { kind: decision.kind === 'gone' ? 'gone' : 'conflict', pseudonym };
    });
  }

  /** What to write, once the first sequence number is known. */
  plan(first: number, month: string, newReceipt: () => string): BatchPlan {
    this.#first = first;
    const tombstones = [...this.#newlyWithdrawn].map((pseudonym) => {
      const patient = this.#patient(pseudonym);
      const offset = patient.tombstone?.sequence ?? 0;
      patient.tombstone = {
        ...this.#provisionalTombstone(pseudonym, offset, patient.tombstone?.versionsRemoved ?? 0),
        sequence: first + offset,
        receipt: newReceipt(),
        month,
      };
      return patient.tombstone;
    });
    const kept = this.#accepted.filter(({ item }) => !this.#newlyWithdrawn.has(item.pseudonym));
    const heads = new Set(
      [...this.#patients.values()].flatMap(({ versions }) =>
        versions.filter(({ head }) => head).map(({ version }) => version),
      ),
    );
    return {
      versions: kept.map(({ item, offset }) => ({
        member: this.member,
        pseudonym: item.pseudonym,
        version: item.version,
        basedOn: item.basedOn,
        sequence: first + offset,
        batch: this.key,
        definition: this.#sent.definition,
        body: heads.has(item.version) ? item.body : null,
      })),
      replaced: [...this.#patients.values()].flatMap(({ stored, tombstone }) =>
        tombstone === null
          ? stored.filter(({ head, version }) => head && !heads.has(version)).map(({ version }) => version)
          : [],
      ),
      withdrawn: [...this.#newlyWithdrawn],
      tombstones,
    };
  }

  /** The sequence of a version, after `plan`. */
  sequenceOf({ sequence, batch }: Extract<ItemOutcome, { kind: 'version' }>): number {
    return batch === this.key ? this.#first + sequence : sequence;
  }

  /** The receipt of a withdrawn patient, after `plan` where this batch withdrew it. */
  receiptOf(pseudonym: string): {
    readonly id: string;
    readonly sequence: number;
    readonly versionsRemoved: number;
    readonly month: string;
  } {
    const { tombstone } = this.#patient(pseudonym);
    if (tombstone === null) throw new Error('a withdrawal that was stored has left no tombstone');
    const { receipt, sequence, versionsRemoved, month } = tombstone;
    return { id: receipt, sequence, versionsRemoved, month };
  }

  #take(item: UnpackedRecord): ItemOutcome {
    const { pseudonym } = item;
    const patient = this.#patient(pseudonym);
    const decision = decideRecord(patient, item);
    switch (decision.kind) {
      case 'gone':
      case 'conflict':
        return { kind: decision.kind, pseudonym };
      case 'there-already':
        return { ...decision, kind: 'version', pseudonym };
      case 'store': {
        const offset = this.#changes++;
        this.#stored++;
        this.#accepted.push({ item, offset });
        const { version, basedOn } = item;
        patient.versions = [
          ...patient.versions.map((earlier) => ({ ...earlier, head: false })),
          { pseudonym, version, basedOn, sequence: offset, batch: this.key, head: true },
        ];
        return { kind: 'version', pseudonym, sequence: offset, batch: this.key };
      }
    }
  }

  #withdraw(pseudonym: string): ItemOutcome {
    const patient = this.#patient(pseudonym);
    if (patient.tombstone === null) {
      this.#newlyWithdrawn.add(pseudonym);
      patient.tombstone = this.#provisionalTombstone(pseudonym, this.#changes++, patient.versions.length);
      patient.versions = [];
    }
    return { kind: 'withdrawn', pseudonym };
  }

  #provisionalTombstone(pseudonym: string, offset: number, versionsRemoved: number): TombstoneRow {
    const digest = tombstoneDigest(this.member, pseudonym);
    const sequences = this.#patient(pseudonym).stored.map(({ sequence }) => sequence);
    const firstSequence = sequences.length === 0 ? null : Math.min(...sequences);
    return {
      member: this.member,
      digest,
      sequence: offset,
      receipt: '',
      versionsRemoved,
      month: '',
      firstSequence,
    };
  }

  #patient(pseudonym: string): Patient {
    const patient = this.#patients.get(pseudonym);
    if (patient === undefined) throw new Error('a pseudonym of the batch was not read');
    return patient;
  }
}

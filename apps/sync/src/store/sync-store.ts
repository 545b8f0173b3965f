import type { AuditEntry, Role } from '@longhold/core/exchange';
import type { PoolReader, PoolWriter } from './pool-rows';

/** The one study that a service serves. */
export interface StudyRow {
  readonly id: string;
  /** Drawn anew when the store is restored from a backup. */
  readonly epoch: string;
  /** Number of the latest stored change; 0 before the first. */
  readonly sequence: number;
}

/** A clinic, the coordinator or a reader. No name is kept: who is behind an id is known to the coordinator. */
export interface MemberRow {
  readonly id: string;
  readonly role: Role;
  /** Which of its role it is, in the order of their invitations, from 1. */
  readonly number: number;
}

/** One program of a member, known by its token. */
export interface DeviceRow {
  readonly id: string;
  readonly member: string;
  readonly role: Role;
  /** Of the member: which of its role it is. */
  readonly number: number;
  /** SHA-256 of the token. Its 256 random bits cannot be guessed, so no slow digest is needed. */
  readonly tokenDigest: string;
  /** Digest of the token that takes over once it is used; null where none waits. */
  readonly nextTokenDigest: string | null;
  readonly revoked: boolean;
}

/** An enrolment code, known by its digest. */
export interface CodeRow {
  readonly digest: string;
  readonly member: string;
  /** ISO 8601, UTC. */
  readonly expires: string;
  readonly used: boolean;
}

/** A version of the study definition; `body` is its JSON. */
export interface DefinitionRow {
  readonly version: number;
  readonly body: string;
}

/** A batch that was stored: what it held, by digest, and the last sequence of its changes. */
export interface BatchRow {
  readonly member: string;
  readonly batch: string;
  readonly digest: string;
  readonly sequence: number;
}

/** What is known of a version without its record. */
export interface VersionFacts {
  readonly pseudonym: string;
  readonly version: string;
  readonly basedOn: string | null;
  readonly sequence: number;
  /** The batch that brought it. */
  readonly batch: string;
  /** The newest of its patient; only of this one the record is kept. */
  readonly head: boolean;
}

/** A version as it is stored. `body` is the record as canonical JSON, null once a newer version replaced it. */
export interface VersionRow {
  readonly member: string;
  readonly pseudonym: string;
  readonly version: string;
  readonly basedOn: string | null;
  readonly sequence: number;
  readonly batch: string;
  readonly definition: number;
  readonly body: string | null;
}

/** What stays of a withdrawn patient. */
export interface TombstoneRow {
  readonly member: string;
  /** SHA-256 of `tombstoneText`. */
  readonly digest: string;
  readonly sequence: number;
  readonly receipt: string;
  readonly versionsRemoved: number;
  readonly month: string;
  /** Of the first version that was here; null where there was none. Tells which pooled answers held the patient. */
  readonly firstSequence: number | null;
}

/** A patient of whom versions are here. */
export interface PatientRow {
  readonly pseudonym: string;
  readonly versions: number;
  /** Of the first version. */
  readonly firstSequence: number;
}

/** What a centre says of itself as a whole; `body` is its JSON. */
export interface SheetRow {
  readonly member: string;
  readonly definition: number;
  readonly sequence: number;
  readonly body: string;
}

/** The head of a record, with its body. */
export type HeadRow = VersionRow & { readonly body: string };

/** Reads within one transaction: one unchanging view of the store. */
export interface StudyReader extends PoolReader {
  study(): Promise<StudyRow>;
  members(): Promise<MemberRow[]>;
  /** Centres that were not heard since the store was restored and were not taken out. */
  unheardMembers(): Promise<ReadonlySet<string>>;
  member(id: string): Promise<MemberRow | null>;
  /** The device whose token, or waiting token, has this digest. */
  deviceByToken(digest: string): Promise<DeviceRow | null>;
  device(id: string): Promise<DeviceRow | null>;
  /** Of one member, or of all where null; in the order of their ids. */
  devices(member: string | null): Promise<DeviceRow[]>;
  code(digest: string): Promise<CodeRow | null>;
  /** The newest definition; null before the first. */
  definition(): Promise<DefinitionRow | null>;
  /** All of them, in the order of their versions. */
  definitions(): Promise<DefinitionRow[]>;
  batch(member: string, batch: string): Promise<BatchRow | null>;
  /** All versions of these pseudonyms of a member. */
  versionsOf(member: string, pseudonyms: readonly string[]): Promise<VersionFacts[]>;
  /** All patients of a member of whom versions are here, in the order of their pseudonyms. */
  patientsOf(member: string): Promise<PatientRow[]>;
  /** Newest versions of these pseudonyms of a member. */
  headsOf(member: string, pseudonyms: readonly string[]): Promise<HeadRow[]>;
  tombstonesOf(member: string, digests: readonly string[]): Promise<TombstoneRow[]>;
  /** Newest versions after a sequence, by sequence; of one member, or of all where null. */
  headsAfter(member: string | null, after: number, limit: number): Promise<HeadRow[]>;
  /** Tombstones after a sequence, by sequence; of one member, or of all where null. */
  tombstonesAfter(member: string | null, after: number, limit: number): Promise<TombstoneRow[]>;
  /** How many patients have versions but no record of the newest; none in a whole store. */
  patientsWithoutHead(): Promise<number>;
  sheets(): Promise<SheetRow[]>;
  /** Newest first. */
  audit(limit: number): Promise<AuditEntry[]>;
  /** Rows of a table as they are stored, in an order that does not change; for backups. */
  dump(table: StoredTable, from: number, limit: number): Promise<StoredRow[]>;
}

/** Reads and changes within one transaction: all of it is stored, or nothing. */
export interface StudyWriter extends StudyReader, PoolWriter {
  /**
   * Holds a member until the transaction ends: its batches and the revocation of its devices happen one after the
   * other, on however many servers.
   */
  holdMember(member: string): Promise<void>;
  /**
   * Takes that many sequence numbers and returns the first. Whoever takes some holds all others off until the
   * transaction ends, so that changes become visible in the order of their numbers and no cursor can pass one by.
   */
  takeSequences(count: number): Promise<number>;
  insertMember(member: MemberRow): Promise<void>;
  insertDevice(device: Omit<DeviceRow, 'role' | 'number'>): Promise<void>;
  setTokens(device: string, tokenDigest: string, nextTokenDigest: string | null): Promise<void>;
  /** Marks devices as revoked and returns how many were not so before. */
  revokeDevices(devices: readonly string[]): Promise<number>;
  insertCode(code: CodeRow): Promise<void>;
  /** Marks a code as used; false when it was so already, by whichever server. */
  useCode(digest: string): Promise<boolean>;
  /** Marks all codes of a member as used. */
  useCodesOf(member: string): Promise<void>;
  /** False when there is a definition of that version already. */
  insertDefinition(definition: DefinitionRow): Promise<boolean>;
  insertBatch(batch: BatchRow): Promise<void>;
  insertVersions(versions: readonly VersionRow[]): Promise<void>;
  /** Takes the records away from versions that were replaced. */
  clearBodies(member: string, versions: readonly string[]): Promise<void>;
  /** Deletes every version of a pseudonym. */
  deleteVersions(member: string, pseudonym: string): Promise<void>;
  insertTombstone(tombstone: TombstoneRow): Promise<void>;
  insertTombstones(tombstones: readonly TombstoneRow[]): Promise<void>;
  /** Deletes every version of every patient of a member, its batches and its sheet. */
  deleteRecordsOf(member: string): Promise<void>;
  putSheet(sheet: SheetRow): Promise<void>;
  /** Adds an entry, or counts up the one that differs in nothing but its count. */
  addAudit(entry: AuditEntry): Promise<void>;
  /** Writes rows of a backup into a store that has none. */
  load(table: StoredTable, rows: readonly StoredRow[]): Promise<void>;
  /** Takes over the study of a backup, under a new epoch. */
  adoptStudy(study: StudyRow): Promise<void>;
  /** After a restore: no centre has repeated its withdrawals yet. */
  markUnheard(): Promise<void>;
  /** The centre has repeated its withdrawals since the restore, or has none. */
  markHeard(member: string): Promise<void>;
}

/** Where the service keeps everything. Two kinds, SQLite and PostgreSQL, prove themselves by one suite. */
export interface SyncStore {
  read<T>(work: (reader: StudyReader) => Promise<T>): Promise<T>;
  /**
   * Runs a change and returns once it is on the disk. May run `work` again after it had to give way to another
   * server, so `work` must do nothing but read and write the store.
   */
  write<T>(work: (writer: StudyWriter) => Promise<T>): Promise<T>;
  /** Makes the database drop from its own files what was deleted, as far as it can. */
  forgetDeleted(): Promise<void>;
  /** What the database itself finds wrong with its files, in words; empty when nothing. */
  faults(): Promise<string[]>;
  close(): Promise<void>;
}

/** A value of a stored row. */
export type StoredValue = string | number | null;
export type StoredRow = readonly StoredValue[];

/**
 * Every table that a backup holds, with its columns, those first that others refer to. The study itself comes apart;
 * statistics made from records are made anew.
 */
export const STORED_TABLES = {
  members: { columns: ['id', 'role', 'number', 'unheard'], order: ['id'] },
  devices: { columns: ['id', 'member', 'token_digest', 'next_token_digest', 'revoked'], order: ['id'] },
  codes: { columns: ['digest', 'member', 'expires', 'used'], order: ['digest'] },
  definitions: { columns: ['version', 'body'], order: ['version'] },
  batches: { columns: ['member', 'batch', 'digest', 'sequence'], order: ['member', 'batch'] },
  versions: {
    columns: ['member', 'version', 'pseudonym', 'based_on', 'sequence', 'batch', 'definition', 'body'],
    order: ['sequence'],
  },
  tombstones: {
    columns: ['member', 'digest', 'sequence', 'receipt', 'versions_removed', 'month', 'first_sequence'],
    order: ['sequence'],
  },
  sheets: { columns: ['member', 'definition', 'sequence', 'body'], order: ['member'] },
  federated: {
    columns: [
      'member',
      'definition',
      'sequence',
      'digest',
      'patients',
      'changed_at_least',
      'withdrawn',
      'receipt',
      'month',
      'body',
    ],
    order: ['member'],
  },
  removed_members: { columns: ['member', 'receipt', 'month', 'held'], order: ['member'] },
  releases: { columns: ['number', 'sequence', 'definition', 'to_coordinator'], order: ['number'] },
  release_centres: {
    columns: ['release', 'member', 'way', 'sequence', 'patients', 'changed_at_least'],
    order: ['release', 'member'],
  },
  release_views: { columns: ['release', 'viewer', 'body'], order: ['release', 'viewer'] },
  audit: {
    columns: ['at', 'member', 'device', 'action', 'subject', 'times'],
    order: ['at', 'member', 'device', 'action', 'subject'],
  },
} as const;
export type StoredTable = keyof typeof STORED_TABLES;

import { z } from 'zod';
import { centreSheetSchema, pooledRecordSchema, pseudonymSchema } from '../contribution/pooled-record';
import { studyDefinitionSchema } from '../contribution/study-definition';

/*
 * What a clinic's program and the pooling service say to each other; docs/pooling-protocol.md explains it so that
 * another could implement it. Every message is strict.
 */

/** Spoken by this program. A service says which it understands; the older side is told to update. */
export const PROTOCOL_VERSION = 1;
/** The header in which every request names the version of the protocol that it speaks. */
export const PROTOCOL_HEADER = 'longhold-protocol';

/** At most this many record versions in one batch. */
export const BATCH_LIMIT = 500;
/** At most this many bytes of one request's body, before decompression and after. */
export const BODY_LIMIT = 8 * 1024 * 1024;

export const roleSchema = z.enum(['coordinator', 'centre', 'reader']);
export type Role = z.infer<typeof roleSchema>;

/** Which of its role a member is, in the order of invitation: what people call it, since no name is kept. */
export const memberNumberSchema = z.int().min(1);

/** 24 characters without look-alikes, used once. */
export const enrolmentCodeSchema = z.string().regex(/^[2-9A-HJ-NP-Z]{6}(-[2-9A-HJ-NP-Z]{6}){3}$/);
/** 32 random bytes, base64url. Kept as a digest by the service. */
export const tokenSchema = z.string().regex(/^[A-Za-z0-9_-]{43}$/);
/** SHA-256 in hexadecimal of the canonical JSON of what it names (`digests.ts`). */
export const digestSchema = z.string().regex(/^[0-9a-f]{64}$/);
export const idSchema = z.uuid();
/** Counts every change that the service has stored, from 1. */
export const sequenceSchema = z.int().min(0);
/**
 * Drawn anew whenever the service's store is restored from a backup. A clinic that sees another one than before starts
 * its cursor at 0 again and repeats its withdrawals and its records, since the backup may not have had them.
 */
export const epochSchema = idSchema;

/** Why the service refuses; the message beside it says what would be right. */
export const refusalCodeSchema = z.enum([
  'not-signed-in',
  'revoked',
  'not-allowed',
  'code-unknown',
  'code-used',
  'code-expired',
  'protocol-too-old',
  'protocol-too-new',
  'definition-missing',
  'definition-outdated',
  'definition-conflict',
  'batch-reused',
  'wrong-digest',
  /** The centre sends records, or it sends statistics; never both. */
  'mixed-contribution',
  /** Another device of the centre sent other statistics in between. */
  'statistics-conflict',
  'wrong-input',
  'too-large',
  'too-many-requests',
  'not-found',
  'unavailable',
]);
export type RefusalCode = z.infer<typeof refusalCodeSchema>;

export const enrolInputSchema = z.strictObject({ code: enrolmentCodeSchema });
export const enrolAnswerSchema = z.strictObject({
  token: tokenSchema,
  study: idSchema,
  member: idSchema,
  device: idSchema,
  role: roleSchema,
  number: memberNumberSchema,
});

/** A month of a year, such as 2026-03. */
export const monthSchema = z.string().regex(/^\d{4}-(0[1-9]|1[0-2])$/, 'a month such as 2026-03');

/** One version of one patient's record, never changed once stored; or the word that it is withdrawn. */
export const recordVersionSchema = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('record'),
    /** Digest of `basedOn` and `record` (`versionText`). */
    version: digestSchema,
    /** The version this one was made from; null for the first. Another head at the service is a conflict. */
    basedOn: digestSchema.nullable(),
    record: pooledRecordSchema,
  }),
  z.strictObject({ kind: z.literal('withdrawal'), pseudonym: pseudonymSchema }),
]);
export type RecordVersion = z.infer<typeof recordVersionSchema>;

/** A batch; sent again with the same key and content it changes nothing and is answered the same. */
export const pushInputSchema = z.strictObject({
  /** Chosen at random by the sender. */
  batch: idSchema,
  /** Version of the study definition under which the records were made. */
  definition: z.int().min(1),
  items: z.array(recordVersionSchema).min(1).max(BATCH_LIMIT),
});
export type PushInput = z.infer<typeof pushInputSchema>;

/**
 * What became of one item. `stored` and `withdrawn` are promises: it is on disk. `conflict`: another device of the
 * clinic stored another version since; nothing was stored, and `head` is what the service holds. `gone`: the patient was
 * withdrawn before, so nothing of that pseudonym is ever taken again.
 */
export const itemAnswerSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('stored'), pseudonym: pseudonymSchema, sequence: sequenceSchema }),
  z.strictObject({ kind: z.literal('already-stored'), pseudonym: pseudonymSchema, sequence: sequenceSchema }),
  z.strictObject({
    kind: z.literal('conflict'),
    pseudonym: pseudonymSchema,
    head: z
      .strictObject({ version: digestSchema, sequence: sequenceSchema, record: pooledRecordSchema })
      .nullable(),
  }),
  z.strictObject({ kind: z.literal('gone'), pseudonym: pseudonymSchema }),
  z.strictObject({
    kind: z.literal('withdrawn'),
    pseudonym: pseudonymSchema,
    /**
     * Proof for the clinic's file: what was removed, and in which month. The service keeps no finer time, because the
     * order of changes would carry it over to the records beside it.
     */
    receipt: z.strictObject({
      id: idSchema,
      sequence: sequenceSchema,
      versionsRemoved: z.int().min(0),
      month: monthSchema,
    }),
  }),
]);
export type ItemAnswer = z.infer<typeof itemAnswerSchema>;

export const pushAnswerSchema = z.strictObject({
  batch: idSchema,
  epoch: epochSchema,
  /** In the order of the items. */
  items: z.array(itemAnswerSchema),
  /** Everything of this batch is stored up to here. */
  sequence: sequenceSchema,
});
export type PushAnswer = z.infer<typeof pushAnswerSchema>;

/** Changes after a place, oldest first: the newest version of each record, and withdrawals. */
export const pullInputSchema = z.strictObject({
  after: sequenceSchema,
  /** The clinic's own, or those of all centres; the latter only where the study agreement shares records. */
  of: z.enum(['own', 'all']).default('own'),
  limit: z.int().min(1).max(BATCH_LIMIT).default(BATCH_LIMIT),
});
export type PullInput = z.infer<typeof pullInputSchema>;
export const pulledChangeSchema = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('record'),
    sequence: sequenceSchema,
    member: idSchema,
    version: digestSchema,
    /** Version of the study definition under which it was made. */
    definition: z.int().min(1),
    record: pooledRecordSchema,
  }),
  z.strictObject({
    kind: z.literal('withdrawal'),
    sequence: sequenceSchema,
    member: idSchema,
    /** Digest of member and pseudonym (`tombstoneText`): the pseudonym itself is not kept. */
    tombstone: digestSchema,
  }),
]);
export type PulledChange = z.infer<typeof pulledChangeSchema>;
export const pullAnswerSchema = z.strictObject({
  epoch: epochSchema,
  changes: z.array(pulledChangeSchema),
  /** Ask again after this; it is complete where `more` is false. */
  next: sequenceSchema,
  more: z.boolean(),
});

/** A version of the study definition, as the service holds it. */
export const definitionVersionSchema = z.strictObject({
  version: z.int().min(1),
  definition: studyDefinitionSchema,
});
export type DefinitionVersion = z.infer<typeof definitionVersionSchema>;

/** Only the coordinator; refused as `definition-conflict` when another version came in between. */
export const publishInputSchema = z.strictObject({
  basedOn: z.int().min(0),
  definition: studyDefinitionSchema,
});

/** What a centre says of itself as a whole; the latest one counts. */
export const sheetInputSchema = z.strictObject({ definition: z.int().min(1), sheet: centreSheetSchema });

export const inviteInputSchema = z.strictObject({
  role: roleSchema,
  /** A further device of this member; null for a new member. */
  member: idSchema.nullable(),
});
export const inviteAnswerSchema = z.strictObject({
  code: enrolmentCodeSchema,
  member: idSchema,
  number: memberNumberSchema,
  expires: z.iso.datetime(),
});
export type PullAnswer = z.infer<typeof pullAnswerSchema>;

/** Who is asking, as the service knows them, and what it holds by now. */
export const sessionAnswerSchema = z.strictObject({
  study: idSchema,
  epoch: epochSchema,
  member: idSchema,
  device: idSchema,
  role: roleSchema,
  /** Version of the study definition in force; null before the first one. */
  definition: z.int().min(1).nullable(),
  sequence: sequenceSchema,
  /** Digest of the statistics that the service holds of the member; null where it holds none. */
  statistics: digestSchema.nullable(),
});

/** Devices of the asking member; of all members for the coordinator. */
export const devicesAnswerSchema = z.strictObject({
  devices: z.array(
    z.strictObject({
      device: idSchema,
      member: idSchema,
      role: roleSchema,
      number: memberNumberSchema,
      revoked: z.boolean(),
      /** Whether the member was taken out of the study. */
      removed: z.boolean(),
    }),
  ),
});

/** A member who is to be taken out of the study with all that it sent, for good. */
export const removeMemberInputSchema = z.strictObject({ member: idSchema });

/** All of the member is deleted. Asked again it is answered the same. */
export const removeMemberAnswerSchema = z.strictObject({
  /** Proof for the study's file. */
  receipt: idSchema,
  month: monthSchema,
  /** What the service held of the member until then. */
  held: z.enum(['records', 'statistics', 'nothing']),
});

/** One device, or all of a member's. */
export const revokeInputSchema = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('device'), device: idSchema }),
  z.strictObject({ kind: z.literal('member'), member: idSchema }),
]);

/** What is written down of who did what. Records and withdrawals are counted by month, all else has its moment. */
export const auditActionSchema = z.enum([
  'enrolled',
  'invited',
  'rotated-token',
  'revoked',
  'published-definition',
  'sent-sheet',
  'sent-statistics',
  'stored-records',
  'withdrew-patients',
  'read-records',
  'removed-member',
  'restored',
]);
export type AuditAction = z.infer<typeof auditActionSchema>;

export const auditEntrySchema = z.strictObject({
  at: z.union([z.iso.datetime(), monthSchema]),
  /** Null where the service's own operator did it. */
  member: idSchema.nullable(),
  device: idSchema.nullable(),
  action: auditActionSchema,
  /** What it was done to: a device, a member, a definition's version; empty where the action says it all. */
  subject: z.string().max(64),
  /** How many, for what is counted by month; else 1. */
  count: z.int().min(1),
});
export type AuditEntry = z.infer<typeof auditEntrySchema>;

/**
 * An entry as it is shown. Null stands for a number of patients below the smallest cell of the definition in force; what
 * is counted by month is shown once its month is over, so that nobody sees a count grow from day to day.
 */
export const shownAuditEntrySchema = auditEntrySchema.extend({ count: z.int().min(1).nullable() });
export type ShownAuditEntry = z.infer<typeof shownAuditEntrySchema>;

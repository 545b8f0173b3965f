import { z } from 'zod';
import { centreSheetSchema, pooledRecordSchema, pseudonymSchema } from '../contribution/pooled-record';
import { studyDefinitionSchema } from '../contribution/study-definition';

/*
 * What a clinic's program and the pooling service say to each other; docs/pooling-protocol.md explains it so that
 * another could implement it. Every message is strict.
 */

/** Spoken by this program. A service says which it understands; the older side is told to update. */
export const PROTOCOL_VERSION = 1;

/** At most this many record versions in one batch. */
export const BATCH_LIMIT = 500;
/** At most this many bytes of one request's body, before decompression and after. */
export const BODY_LIMIT = 8 * 1024 * 1024;

export const roleSchema = z.enum(['coordinator', 'centre', 'reader']);
export type Role = z.infer<typeof roleSchema>;

/** 24 characters without look-alikes, used once. */
export const enrolmentCodeSchema = z.string().regex(/^[2-9A-HJ-NP-Z]{6}(-[2-9A-HJ-NP-Z]{6}){3}$/);
/** 32 random bytes, base64url. Kept as a digest by the service. */
export const tokenSchema = z.string().regex(/^[A-Za-z0-9_-]{43}$/);
/** SHA-256 of the canonical JSON of what it names. */
export const digestSchema = z.string().regex(/^[0-9a-f]{64}$/);
export const idSchema = z.uuid();
/** Counts every change that the service has stored, from 1. */
export const sequenceSchema = z.int().min(0);

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
  'not-in-study',
  'batch-reused',
  'wrong-digest',
  'wrong-input',
  'too-large',
  'too-many-requests',
  'not-found',
  'unavailable',
]);
export type RefusalCode = z.infer<typeof refusalCodeSchema>;

export const enrolInputSchema = z.strictObject({
  protocol: z.int().min(1),
  code: enrolmentCodeSchema,
});
export const enrolAnswerSchema = z.strictObject({
  token: tokenSchema,
  study: idSchema,
  member: idSchema,
  device: idSchema,
  role: roleSchema,
});

/** One version of one patient's record, never changed once stored; or the word that it is withdrawn. */
export const recordVersionSchema = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('record'),
    /** Digest of `record`. */
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
    /** Proof for the clinic's file: what was removed and when. */
    receipt: z.strictObject({
      id: idSchema,
      sequence: sequenceSchema,
      versionsRemoved: z.int().min(0),
      at: z.iso.datetime(),
    }),
  }),
]);
export type ItemAnswer = z.infer<typeof itemAnswerSchema>;

export const pushAnswerSchema = z.strictObject({
  batch: idSchema,
  /** In the order of the items. */
  items: z.array(itemAnswerSchema),
  /** Everything up to here is stored. */
  sequence: sequenceSchema,
});
export type PushAnswer = z.infer<typeof pushAnswerSchema>;

/** The clinic's own changes after a place, oldest first; with `recordsShared` of all centres. */
export const pullInputSchema = z.strictObject({
  after: sequenceSchema,
  limit: z.int().min(1).max(BATCH_LIMIT).default(BATCH_LIMIT),
});
export const pulledChangeSchema = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('record'),
    sequence: sequenceSchema,
    member: idSchema,
    version: digestSchema,
    record: pooledRecordSchema,
  }),
  z.strictObject({
    kind: z.literal('withdrawal'),
    sequence: sequenceSchema,
    member: idSchema,
    pseudonym: pseudonymSchema,
  }),
]);
export const pullAnswerSchema = z.strictObject({
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
  expires: z.iso.datetime(),
});

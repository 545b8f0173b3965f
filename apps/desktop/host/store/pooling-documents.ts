import {
  centreSheetSchema,
  pooledRecordSchema,
  pseudonymSchema,
  studyDefinitionSchema,
} from '@longhold/core/contribution';
import {
  digestSchema,
  epochSchema,
  idSchema,
  monthSchema,
  recordVersionSchema,
  refusalCodeSchema,
  roleSchema,
  memberNumberSchema,
  sequenceSchema,
  tokenSchema,
} from '@longhold/core/exchange';
import { centreStatisticsSchema } from '@longhold/core/pooled';
import { patientCodeSchema } from '@longhold/core/records';
import { z } from 'zod';

const moment = z.iso.datetime();

/** What a clinic sends of its patients. */
export const sendingSchema = z.enum(['records', 'statistics']);
export type Sending = z.infer<typeof sendingSchema>;

/** Statistics with what they were made from, which stays at home. */
const countedSchema = z.strictObject({
  /** Of the statistics, as the service names them. */
  digest: digestSchema,
  statistics: centreStatisticsSchema,
  /** The records that are in them, in the order of their pseudonyms. */
  records: z.array(pooledRecordSchema),
});
export type Counted = z.infer<typeof countedSchema>;

/** What the service gave for a withdrawal. */
const receiptSchema = z.strictObject({
  id: idSchema,
  sequence: sequenceSchema,
  /** Null where the patient was in statistics. */
  versionsRemoved: z.int().min(0).nullable(),
  /** Patients taken out together with statistics anew, this one among them; null where a record was. */
  patients: z.int().min(0).nullable().default(null),
  month: monthSchema,
});

/** What the store keeps of pooling: of each kind any number of documents, each under a key. */
export const POOLING_SCHEMAS = {
  /** Under the key `link`: the study that this store is linked to, and how far the exchange has come. */
  link: z.strictObject({
    role: roleSchema,
    address: z.string(),
    study: idSchema,
    member: idSchema,
    device: idSchema,
    /** Null where the link is from before members had numbers. */
    number: memberNumberSchema.nullable().default(null),
    linkedAt: moment,
    token: tokenSchema,
    tokenSince: moment,
    /** Of the service's store when it was last asked; null before. */
    epoch: epochSchema.nullable(),
    /** Changes up to here are known. */
    cursor: sequenceSchema,
    /** Version in force when the service was last asked. */
    definition: z.int().min(1).nullable(),
    /** What a person chose that this clinic sends; null before. Until there was a choice, clinics sent records. */
    sends: sendingSchema.nullable().default('records'),
    /** Digest of the statistics that the service held of the clinic when it was last asked; null for none. */
    statistics: digestSchema.nullable().default(null),
    lastSent: moment.nullable(),
    lastChecked: moment.nullable(),
    fault: z
      .strictObject({
        at: moment,
        code: z.union([refusalCodeSchema, z.literal('unreachable')]),
        message: z.string(),
      })
      .nullable(),
  }),
  /** By study: 32 random bytes in hexadecimal, from which pseudonyms are made. They stay when the link ends. */
  secret: z.strictObject({ secret: z.string().regex(/^[0-9a-f]{64}$/) }),
  /** By pseudonym: what the service holds of a patient of this clinic. */
  head: z.strictObject({
    version: digestSchema,
    /** Of the study definition under which it was made. */
    definition: z.int().min(1),
    sequence: sequenceSchema,
    record: pooledRecordSchema,
    /** This store's record goes on from it: made here, found to be the same, or taken over by a person's choice. */
    own: z.boolean(),
    /** Digest of this store's own content against which a person kept this version; null where nobody had to choose. */
    keptAgainst: digestSchema.nullable(),
    /** Versions that stood here before, the newest last. */
    earlier: z.array(digestSchema),
  }),
  /** By pseudonym: what was known before the service's store was restored, until all of it was read again. */
  before: z.strictObject({
    versions: z.array(digestSchema),
    definition: z.int().min(1),
    record: pooledRecordSchema,
    own: z.boolean(),
  }),
  /** By number, in the order of sending: batches that were confirmed and are not acknowledged. */
  outbox: z.strictObject({
    batch: idSchema,
    definition: z.int().min(1),
    items: z.array(recordVersionSchema).min(1),
  }),
  /** What the clinic says of itself: under `waiting` confirmed and not acknowledged, under `sent` the last acknowledged. */
  sheet: z.strictObject({ definition: z.int().min(1), sheet: centreSheetSchema }),
  /** By pseudonym: patients withdrawn for good. */
  withdrawal: z.strictObject({
    study: idSchema,
    code: patientCodeSchema.nullable(),
    reason: z.enum([
      'no-pooling-consent',
      'no-follow-up-consent',
      'not-in-store',
      'asked-for',
      'by-another-desktop',
    ]),
    askedAt: moment,
    /** What the patient is taken out of. */
    from: sendingSchema.default('records'),
    /** Still to be told to the service, or to be told again. */
    pending: z.boolean(),
    receipt: receiptSchema.nullable(),
  }),
  /**
   * By pseudonym: patients whose record was taken out of the pool because the clinic sends statistics now. They are not
   * withdrawn, but nothing is ever taken again under this pseudonym of this member.
   */
  changeover: z.strictObject({
    study: idSchema,
    member: idSchema,
    code: patientCodeSchema.nullable(),
    askedAt: moment,
    pending: z.boolean(),
    receipt: receiptSchema.nullable(),
  }),
  /** By batch: what was acknowledged. */
  sent: z.strictObject({
    at: moment,
    study: idSchema,
    definition: z.int().min(1),
    records: z.int().min(0),
    withdrawals: z.int().min(0),
    conflicts: z.int().min(0),
    refusedAsWithdrawn: z.int().min(0),
    /** Set where statistics were sent: their digest, null where they were taken out, and the patients in them. */
    statistics: z
      .strictObject({
        digest: digestSchema.nullable(),
        patients: z.int().min(0),
        receipt: receiptSchema.nullable(),
      })
      .nullable()
      .default(null),
  }),
  /** By member: the statistics that the service last acknowledged, or was found to hold. */
  counted: countedSchema,
  /** Under `waiting`: statistics that were confirmed, or follow from a withdrawal, and are not acknowledged. */
  statistics: z.strictObject({
    /** Names this sending in the history. */
    id: idSchema,
    /** Null takes the clinic's statistics out of the pool. */
    counted: countedSchema.nullable(),
    /** Digest of the statistics at the service that they replace; null for none. */
    replaces: digestSchema.nullable(),
    /** Pseudonyms of the patients who are taken out because they withdrew; only their number leaves. */
    withdraws: z.array(pseudonymSchema),
  }),
  /** By digest: statistics that were on their way and may have arrived without an answer, with who is in them. */
  offered: z.strictObject({ pseudonyms: z.array(pseudonymSchema) }),
  /** By version: study definitions as they were read. */
  definition: studyDefinitionSchema,
} as const;

export type PoolingKind = keyof typeof POOLING_SCHEMAS;
export type PoolingValue<Kind extends PoolingKind> = z.infer<(typeof POOLING_SCHEMAS)[Kind]>;

/** A document that is to be written. */
export type PoolingDocument = {
  [Kind in PoolingKind]: { readonly kind: Kind; readonly key: string; readonly value: PoolingValue<Kind> };
}[PoolingKind];

/** What a document is known by. */
export interface PoolingKey {
  readonly kind: PoolingKind;
  readonly key: string;
}

/** All documents, each kind by key, in the order of keys. */
export type PoolingBook = { readonly [Kind in PoolingKind]: ReadonlyMap<string, PoolingValue<Kind>> };

/** A book that is being filled. */
export type PoolingBookDraft = { readonly [Kind in PoolingKind]: Map<string, PoolingValue<Kind>> };

/** The same schemas, so that a value's type follows from its kind. */
const SCHEMA_OF: { readonly [Kind in PoolingKind]: z.ZodType<PoolingValue<Kind>> } = POOLING_SCHEMAS;

export function emptyBook(): PoolingBookDraft {
  return {
    link: new Map(),
    secret: new Map(),
    head: new Map(),
    before: new Map(),
    outbox: new Map(),
    sheet: new Map(),
    withdrawal: new Map(),
    changeover: new Map(),
    sent: new Map(),
    counted: new Map(),
    statistics: new Map(),
    offered: new Map(),
    definition: new Map(),
  };
}

/** The kind that a text names; null where it names none. */
export function poolingKind(text: unknown): PoolingKind | null {
  return KINDS.find((kind) => kind === text) ?? null;
}
const KINDS = Object.keys(POOLING_SCHEMAS).flatMap((key) => (isKind(key) ? [key] : []));
function isKind(key: string): key is PoolingKind {
  return Object.hasOwn(POOLING_SCHEMAS, key);
}

/** Puts a document as it was read into the book; false where it is none of its kind. */
export function takeDocument<Kind extends PoolingKind>(
  book: PoolingBookDraft,
  kind: Kind,
  key: string,
  content: unknown,
): boolean {
  const checked = SCHEMA_OF[kind].safeParse(content);
  if (checked.success) book[kind].set(key, checked.data);
  return checked.success;
}

/** The content of a document as the store holds it. @throws ZodError where it is none of its kind. */
export function documentText({ kind, value }: PoolingDocument): string {
  return JSON.stringify(SCHEMA_OF[kind].parse(value));
}

/** A document of a kind. */
export function documentOf<Kind extends PoolingKind>(
  kind: Kind,
  key: string,
  value: PoolingValue<Kind>,
): { readonly kind: Kind; readonly key: string; readonly value: PoolingValue<Kind> } {
  return { kind, key, value };
}

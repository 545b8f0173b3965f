import { centreSheetSchema, pooledRecordSchema, studyDefinitionSchema } from '@longhold/core/contribution';
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
import { patientCodeSchema } from '@longhold/core/records';
import { z } from 'zod';

const moment = z.iso.datetime();

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
    /** Still to be told to the service, or to be told again. */
    pending: z.boolean(),
    receipt: z
      .strictObject({
        id: idSchema,
        sequence: sequenceSchema,
        versionsRemoved: z.int().min(0),
        month: monthSchema,
      })
      .nullable(),
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
  }),
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
    sent: new Map(),
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

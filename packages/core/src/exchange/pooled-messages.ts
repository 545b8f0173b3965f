import { z } from 'zod';
import { centreStatisticsSchema } from '../pooled/centre-statistics';
import { pooledViewSchema } from '../pooled/view-schema';
import {
  digestSchema,
  epochSchema,
  idSchema,
  memberNumberSchema,
  monthSchema,
  sequenceSchema,
} from './messages';

/*
 * Pooled results: what a centre sends that may not send records, and what members are answered.
 */

/**
 * The sums of a centre that sends no records, made at home by core's `centreStatistics` from what it could have sent.
 * They replace the former ones of the centre, of which nothing stays. A centre sends either records or statistics: while
 * the service holds the one of a centre, the other is refused as `mixed-contribution`.
 */
export const statisticsInputSchema = z.strictObject({
  /**
   * Digest of the statistics that these replace (`digest` of the answer to them, or of `session`); null for none.
   * Where the service holds others, nothing is taken: `statistics-conflict`.
   */
  replaces: digestSchema.nullable(),
  /** Null takes the centre's statistics out of the pool. */
  statistics: centreStatisticsSchema.nullable(),
  /**
   * Patients taken out since the statistics that these replace because they withdrew. Every pooled answer that
   * held them is deleted then. Taking all statistics out counts as a withdrawal whatever stands here.
   */
  withdrawn: z.int().min(0).max(1_000_000),
});
export type StatisticsInput = z.infer<typeof statisticsInputSchema>;

/** It is on disk. The same input sent again is answered the same and changes nothing. */
export const statisticsAnswerSchema = z.strictObject({
  /** SHA-256 of the statistics' canonical JSON as the service holds it; null where it holds none. */
  digest: digestSchema.nullable(),
  sequence: sequenceSchema,
  /** Proof for the clinic's file; null where nobody was withdrawn. */
  receipt: z
    .strictObject({
      id: idSchema,
      sequence: sequenceSchema,
      patients: z.int().min(0),
      month: monthSchema,
    })
    .nullable(),
});

/** Asks for the pooled answer that the member may see. */
export const pooledInputSchema = z.strictObject({
  /** The release that the asker holds already, which is not sent again; null for none. */
  known: z
    .strictObject({ epoch: epochSchema, release: z.int().min(1) })
    .nullable()
    .default(null),
});

/** A number of patients, or the limits between which it lies where the number itself is withheld. */
export const patientRangeSchema = z.strictObject({
  from: z.int().min(0),
  /** Null: not told. Equal to `from` where the number is shown. */
  to: z.int().min(0).nullable(),
});

/**
 * Why a centre is left out of the pool, though it sent what it should. It is tried again once something of it changes, or
 * the definition does.
 */
export const setAsideReasonSchema = z.enum([
  /** Its own statistics, or the pool with them, took longer than the service allows. */
  'took-too-long',
  /** They need more memory than the service allows. */
  'needs-too-much',
  /** They cannot be computed with. */
  'not-computable',
]);
export type SetAsideReason = z.infer<typeof setAsideReasonSchema>;

/** Centres that are left out: all of them for the coordinator, of others only the asker's own. */
const setAsideSchema = z.array(
  z.strictObject({ centre: idSchema, number: memberNumberSchema, reason: setAsideReasonSchema }),
);

/** Why there is no pooled answer to show; the words beside it may be shown. */
export const waitingReasonSchema = z.enum([
  /** No centre has records or statistics under the definition in force. */
  'nothing-contributed',
  /** The service was restored from a backup, and no centre has repeated its withdrawals since. */
  'restored',
  /** It is being computed; ask again. */
  'computing',
  /**
   * Too few patients came, changed or were withdrawn since the last answer, which held someone who withdrew or was made
   * under another definition.
   */
  'too-few-changes',
]);

export const pooledAnswerSchema = z.discriminatedUnion('kind', [
  z.strictObject({
    kind: z.literal('released'),
    /** Counts the answers of this service within its epoch. It carries no time. */
    epoch: epochSchema,
    release: z.int().min(1),
    /** Version of the study definition. */
    definition: z.int().min(1),
    /** Centres in it, and treated patients. */
    centres: z.int().min(1),
    patients: patientRangeSchema,
    /** Whether something was sent since that is not in it yet: too few patients, or it is being computed. */
    newer: z.boolean(),
    /** Centres are named in it by their member ids. */
    view: pooledViewSchema,
    /** The centres that the asker may see, by number. */
    numbers: z.array(z.strictObject({ centre: idSchema, number: memberNumberSchema })),
    setAside: setAsideSchema,
  }),
  /** The release that the asker holds is still the one to be shown. */
  z.strictObject({
    kind: z.literal('unchanged'),
    release: z.int().min(1),
    newer: z.boolean(),
    setAside: setAsideSchema,
  }),
  z.strictObject({
    kind: z.literal('waiting'),
    why: waitingReasonSchema,
    message: z.string(),
    setAside: setAsideSchema,
  }),
]);
export type PooledReply = z.infer<typeof pooledAnswerSchema>;

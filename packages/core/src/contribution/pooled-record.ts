import { z } from 'zod';
import { measureCodeSchema } from '../measures/definition';
import { protocolCodeSchema } from '../records/patient';
import {
  eventKindSchema,
  groupSchema,
  maturityStageSchema,
  sexSchema,
  visitKindSchema,
} from '../records/vocabulary';
import { maturityGroupSchema } from '../records/maturity-group';

/*
 * What leaves a clinic of one patient, and nothing else. Every schema is strict: an unknown key is refused, so that
 * nothing leaves because somebody forgot to take it out. No name, code, birth date, calendar date, free text, image,
 * examiner, device or file name has a place here.
 */

/** 128 random bits in hexadecimal, known to the clinic only; nothing about the patient can be worked out from it. */
export const pseudonymSchema = z.string().regex(/^[0-9a-f]{32}$/, '32 hexadecimal digits');
export type Pseudonym = z.infer<typeof pseudonymSchema>;

/** Whole days from time zero; negative before it. Time zero is the end of active treatment, or the first visit of an untreated child. */
export const dayFromZeroSchema = z.int().min(-7_500).max(36_500);

/** How a length came to natural size: it was so, by a known factor, or films don't enlarge this measure. */
export const magnificationSchema = z.enum(['natural', 'by-factor', 'not-enlarged']);
export type Magnification = z.infer<typeof magnificationSchema>;

/** One measure at one visit, at natural size, as the clinic itself uses it. */
export const pooledValueSchema = z.strictObject({
  measure: measureCodeSchema,
  /** In the measure's unit, natural size, mean over films and readings. */
  value: z.number().min(-1000).max(1000),
  /** Films behind the value, and readings of all of them; 99 stands for 99 or more. */
  films: z.int().min(1).max(9),
  readings: z.int().min(1).max(99),
  magnification: magnificationSchema,
});
export type PooledValue = z.infer<typeof pooledValueSchema>;

export const pooledVisitSchema = z.strictObject({
  kind: visitKindSchema,
  day: dayFromZeroSchema,
  values: z.array(pooledValueSchema).max(100),
});
export type PooledVisit = z.infer<typeof pooledVisitSchema>;

/** Maturity at the start of treatment: a stage, or only its group where a stage would single the patient out. */
export const pooledMaturitySchema = z.union([maturityStageSchema, maturityGroupSchema]);

/** One patient as contributed to a pool. */
export const pooledRecordSchema = z.strictObject({
  pseudonym: pseudonymSchema,
  group: groupSchema,
  sex: sexSchema,
  /** Age at time zero in whole months, the middle of a band of them (`coarsen.ts`). */
  ageMonths: z.int().min(0).max(1200),
  /** From the study's own list; null where not recorded, untreated, or too rare to be named. */
  protocol: protocolCodeSchema.nullable(),
  expansion: z.boolean().nullable(),
  maturityStart: pooledMaturitySchema.nullable(),
  /**
   * Years of follow-up that could have been seen, seen or not: the yearly windows, half a year either side of each
   * anniversary of time zero, that have closed. The denominators of the flow. 0 for untreated children.
   */
  yearsPassed: z.int().min(0).max(100),
  visits: z.array(pooledVisitSchema).max(200),
  events: z.array(z.strictObject({ event: eventKindSchema, day: dayFromZeroSchema })).max(50),
});
export type PooledRecord = z.infer<typeof pooledRecordSchema>;

/** The error of one measure at a clinic, unit of the measure; the same for all of its records. */
export const pooledMethodErrorSchema = z.strictObject({
  measure: measureCodeSchema,
  /** SD of reading one film again, and of what another film of the same visit adds; null where the latter is not known. */
  retracingSd: z.number().min(0).max(50),
  filmSd: z.number().min(0).max(50).nullable(),
  source: z.enum(['duplicates', 'default']),
  /** Pairs of readings behind it. */
  pairs: z.int().min(0).max(1_000_000),
  /**
   * Second films behind `filmSd`, where it comes from the clinic's own: degrees of freedom of the whole error, films less
   * visits. Null where it does not. Programs that do not know it leave it out; then it is not known.
   */
  filmDf: z.number().min(0).max(1_000_000).nullable().optional(),
});
export type PooledMethodError = z.infer<typeof pooledMethodErrorSchema>;

/**
 * Treated patients of a clinic who are not in its contribution, by the first reason that applies. Numbers only. Those
 * from 1 up to one below the study's smallest cell are withheld as null, and then so is `treated`, from which they
 * could be worked out.
 */
export const contributionFlowSchema = z.strictObject({
  treated: z.int().min(0).nullable(),
  contributed: z.int().min(0),
  withoutConsent: z.int().min(0).nullable(),
  withoutEnd: z.int().min(0).nullable(),
  withoutStart: z.int().min(0).nullable(),
  withoutAge: z.int().min(0).nullable(),
  /** A time or value that no record may hold. */
  outsideLimits: z.int().min(0).nullable(),
  /** Too few alike even after coarsening, where the study group leaves such patients out. */
  tooFewAlike: z.int().min(0).nullable(),
});
export type ContributionFlow = z.infer<typeof contributionFlowSchema>;

/** What a clinic says of itself as a whole, beside its records. */
export const centreSheetSchema = z.strictObject({
  methodErrors: z.array(pooledMethodErrorSchema).max(100),
  flow: contributionFlowSchema,
});
export type CentreSheet = z.infer<typeof centreSheetSchema>;

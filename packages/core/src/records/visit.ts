import { z } from 'zod';
import { measureCodeSchema, unitSchema } from '../measures/definition';
import { isoDateSchema } from './calendar';
import { eventKindSchema, filmFactorEvidenceSchema, visitKindSchema } from './vocabulary';

export const ageYearsSchema = z.number().min(0).max(100);

/**
 * Who measured: empty, or a short code of up to 40 characters, letters of any script. No commas, quotes or
 * line breaks, so that it can stand in a table; no leading sign that a spreadsheet would take for a formula.
 */
export const examinerSchema = z
  .string()
  .regex(
    /^(?:[\p{L}\p{N}](?:[\p{L}\p{N} ._-]{0,38}[\p{L}\p{N}._-])?)?$/u,
    'a short code of 1 to 40 letters, digits, spaces, dots, dashes or underscores',
  );

export const replicateSchema = z.int().min(1).max(99);

/**
 * What a length measured on a film is multiplied by to give natural size, (distance from focus to the midplane of the
 * head) / (distance from focus to film or detector): 1550 mm / 1700 mm = 0.912, for example; 1 where the values are
 * at natural size already. Somewhat above 1 for an image shown smaller than life.
 */
export const filmFactorSchema = z.number().min(0.5).max(1.1);

/** Which radiograph of a visit was read: 1, or more where another was taken at the same visit. */
export const filmNumberSchema = z.int().min(1).max(9);

/**
 * One reading of one measure at one visit, as measured. Replicates are repeated readings of the same film by the
 * same examiner; readings of a second film taken at the same visit have another `film`.
 */
const measurementSchema = z.strictObject({
  measure: measureCodeSchema,
  value: z.number(),
  unit: unitSchema,
  replicate: replicateSchema,
  examiner: examinerSchema,
  film: filmNumberSchema.default(1),
});
export type Measurement = z.infer<typeof measurementSchema>;

/**
 * One visit with its measurements. It carries a date, or an age where the series has ages only.
 * `filmFactor` makes natural sizes of lengths on its films; null where it is not known. `filmFactorEvidence` says how
 * it is known; null where that was not recorded.
 */
export const visitSchema = z
  .strictObject({
    kind: visitKindSchema,
    date: isoDateSchema.nullable(),
    ageYears: ageYearsSchema.nullable(),
    filmFactor: filmFactorSchema.nullable().default(null),
    filmFactorEvidence: filmFactorEvidenceSchema.nullable().default(null),
    measurements: z.array(measurementSchema),
  })
  .refine((visit) => visit.date !== null || visit.ageYears !== null, 'a visit needs a date or an age')
  .refine(
    (visit) => visit.filmFactor !== null || visit.filmFactorEvidence === null,
    'evidence of a film factor needs the factor',
  );
export type Visit = z.infer<typeof visitSchema>;

/** Something that happened to a patient between visits and bears on what the follow-up means. */
export const patientEventSchema = z.strictObject({ date: isoDateSchema, event: eventKindSchema });
export type PatientEvent = z.infer<typeof patientEventSchema>;

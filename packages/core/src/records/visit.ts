import { z } from 'zod';
import { measureCodeSchema, unitSchema } from '../measures/definition';
import { isoDateSchema } from './calendar';
import { eventKindSchema, visitKindSchema } from './vocabulary';

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

/** One reading of one measure at one visit. Replicates are repeated readings by the same examiner. */
const measurementSchema = z.strictObject({
  measure: measureCodeSchema,
  value: z.number(),
  unit: unitSchema,
  replicate: replicateSchema,
  examiner: examinerSchema,
});
export type Measurement = z.infer<typeof measurementSchema>;

/** One visit with its measurements. It carries a date, or an age where the series has ages only. */
export const visitSchema = z
  .strictObject({
    kind: visitKindSchema,
    date: isoDateSchema.nullable(),
    ageYears: ageYearsSchema.nullable(),
    measurements: z.array(measurementSchema),
  })
  .refine((visit) => visit.date !== null || visit.ageYears !== null, 'a visit needs a date or an age');
export type Visit = z.infer<typeof visitSchema>;

/** Something that happened to a patient between visits and bears on what the follow-up means. */
export const patientEventSchema = z.strictObject({ date: isoDateSchema, event: eventKindSchema });
export type PatientEvent = z.infer<typeof patientEventSchema>;

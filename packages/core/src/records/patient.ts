import { z } from 'zod';
import { isoDateSchema } from './calendar';
import { groupSchema, maturityStageSchema, sexSchema } from './vocabulary';

/** A pseudonymous code of the clinic's own: 1 to 40 letters, digits, dots, dashes and underscores. */
export const patientCodeSchema = z
  .string()
  .regex(
    /^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$/,
    'a code of 1 to 40 letters, digits, dots, dashes or underscores',
  );

/** A short code from the clinic's own list of treatment protocols. */
export const protocolCodeSchema = z
  .string()
  .regex(
    /^[A-Za-z0-9][A-Za-z0-9._+ -]{0,29}$/,
    'a short code of 1 to 30 letters, digits, spaces, dots, dashes, plus signs or underscores',
  );

/**
 * One patient. `birthDate` is null for series that were published with ages only; their visits then carry
 * ages. Untreated patients have neither protocol nor treatment dates.
 */
export const patientSchema = z.strictObject({
  code: patientCodeSchema,
  sex: sexSchema,
  birthDate: isoDateSchema.nullable(),
  group: groupSchema,
  protocol: protocolCodeSchema.nullable(),
  /** Whether the upper jaw was widened as part of treatment; null when not recorded. */
  expansion: z.boolean().nullable(),
  maturityStart: maturityStageSchema.nullable(),
  treatmentStart: isoDateSchema.nullable(),
  /** End of active treatment: time zero of everything that Longhold counts. */
  activeEnd: isoDateSchema.nullable(),
  /**
   * May the clinic call this patient back and use the follow-up in its own results? Without it a treated patient is
   * neither recalled nor judged; untreated children are never recalled, so theirs does not decide anything.
   */
  consentFollowUp: z.boolean(),
  /** May the pseudonymised follow-up be pooled with other clinics'? */
  consentPooling: z.boolean(),
});
export type Patient = z.infer<typeof patientSchema>;

import { growthVelocity, velocityRow, type GrowthReference } from '../growth';
import { contrastRow, contrastValue, type Contrast, type Yardstick } from '../retention';
import type { Sex } from '../records';
import type { PatientContrasts } from './patient-outcome';
import type { MeasuredGain } from './separation-answer';

/** One measured gain of one patient, as the models of lasting and passing gain take it. */
export interface GainRow extends MeasuredGain {
  readonly sex: Sex;
  /** Coefficients of g(age) - g(age at start), and of v(age), on the reference's curve; empty where it is taken as known. */
  readonly growthRow: readonly number[];
  readonly velocityRow: readonly number[];
}

/** Every measured gain of the patients, at the end of active treatment first, then visit by visit. */
export function gainRows(patients: readonly PatientContrasts[], yardstick: Yardstick): GainRow[] {
  return patients.flatMap((patient) => [
    gainRow(patient, 0, patient.first, yardstick),
    ...patient.later.map(({ years, gain }) => gainRow(patient, years, gain, yardstick)),
  ]);
}

function gainRow(
  { code, sex }: PatientContrasts,
  years: number,
  contrast: Contrast,
  yardstick: Yardstick,
): GainRow {
  const { reference, direction } = yardstick;
  const age = contrast[0]?.point.growthAge ?? NaN;
  return {
    code,
    sex,
    years,
    age,
    startAge: contrast[1]?.point.growthAge ?? NaN,
    gain: contrastValue(contrast, sex, yardstick),
    velocity: favourableVelocity(reference, direction, sex, age),
    growthRow: contrastRow(contrast, sex, yardstick),
    velocityRow: velocityRow(reference, sex, age),
  };
}

/** Expected growth velocity in the favourable direction. */
export function favourableVelocity(
  reference: GrowthReference,
  direction: 1 | -1,
  sex: Sex,
  age: number,
): number {
  return direction * growthVelocity(reference, sex, age);
}

import { BY_AGE, maturityShift, type ClockShift, type GrowthReference } from '../growth';
import { ageAtVisit, visitOfKind, type PatientHistory } from '../records';
import type { GrowthClockChoice } from './question';

/**
 * How a patient's ages are moved to be read on the growth curve: not at all by age; by maturity to where the stage at
 * the start of treatment belongs. Null where maturity is asked for and the patient cannot be placed by it: such
 * patients stay on their age and are counted.
 */
export function clockShift(
  history: PatientHistory,
  clock: GrowthClockChoice,
  reference: GrowthReference,
): ClockShift | null {
  if (clock === 'age') return BY_AGE;
  const { sex, maturityStart } = history.patient;
  const start = visitOfKind(history, 'start');
  const age = start === undefined ? null : ageAtVisit(history.patient, start);
  return maturityStart === null || age === null ? null : maturityShift(reference, sex, maturityStart, age);
}

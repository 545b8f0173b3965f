import { ageAtVisit, type PatientHistory } from './history';
import type { Visit } from './visit';

/** The value of one measure at one visit: the mean of its readings, and how many there were. */
export interface VisitValue {
  readonly value: number;
  readonly readings: number;
}

/** Mean over all replicates and examiners of one measure at a visit; null where it was not taken. */
export function visitValue(visit: Visit, measureCode: string): VisitValue | null {
  let sum = 0;
  let readings = 0;
  for (const measurement of visit.measurements) {
    if (measurement.measure !== measureCode) continue;
    sum += measurement.value;
    readings++;
  }
  return readings === 0 ? null : { value: sum / readings, readings };
}

/** A value with the age at which it was taken. */
export interface AgedValue extends VisitValue {
  readonly age: number;
  readonly visit: Visit;
}

/** Every visit of a patient at which the measure was taken and the age is known, youngest first. */
export function agedValues(history: PatientHistory, measureCode: string): AgedValue[] {
  const values: AgedValue[] = [];
  for (const visit of history.visits) {
    const value = visitValue(visit, measureCode);
    const age = ageAtVisit(history.patient, visit);
    if (value !== null && age !== null) values.push({ ...value, age, visit });
  }
  return values.sort((a, b) => a.age - b.age);
}

import { findMeasure } from '../measures/catalogue';
import { ageAtVisit, type PatientHistory, type Study } from './history';
import type { Measurement, Visit } from './visit';

/** The value of one measure at one visit: the mean of its readings, and how many there were. */
export interface VisitValue {
  /** At natural size: what is measured on a film times the film's factor. Angles and chairside values as measured. */
  readonly value: number;
  /** As measured. */
  readonly measured: number;
  /** What lengths on the visit's films were multiplied by; null where the measure is not enlarged. */
  readonly filmFactor: number | null;
  readonly readings: number;
}

/**
 * One reading at natural size, in the unit of its measure. This is the one place where a recorded value becomes a
 * number to reckon with.
 *
 * @returns null for a length on a film whose factor is not known: lengths of unknown enlargement can't be compared
 */
export function naturalSize(visit: Visit, { measure, value }: Measurement): number | null {
  if (!isEnlarged(measure)) return value;
  return visit.filmFactor === null ? null : value * visit.filmFactor;
}

/**
 * Mean over all readings (films, replicates and examiners) of one measure at a visit, at natural size; null where it
 * was not taken, or is a length on a film whose factor is not known (`lacksFilmFactor` tells the two apart).
 */
export function visitValue(visit: Visit, measureCode: string): VisitValue | null {
  const filmFactor = isEnlarged(measureCode) ? visit.filmFactor : null;
  if (filmFactor === null && isEnlarged(measureCode)) return null;
  const mean = measuredMean(visit, measureCode);
  if (mean === null) return null;
  return { ...mean, value: filmFactor === null ? mean.measured : mean.measured * filmFactor, filmFactor };
}

/** Whether a length was read at a visit but can't be used, because the factor of the visit's films is not known. */
export function lacksFilmFactor(visit: Visit, measureCode: string): boolean {
  return (
    visit.filmFactor === null &&
    isEnlarged(measureCode) &&
    visit.measurements.some(({ measure }) => measure === measureCode)
  );
}

/** Mean of the readings of one measure at a visit, as measured; null where it was not taken. */
export function measuredMean(
  visit: Visit,
  measureCode: string,
): { readonly measured: number; readonly readings: number } | null {
  let sum = 0;
  let readings = 0;
  for (const measurement of visit.measurements) {
    if (measurement.measure !== measureCode) continue;
    sum += measurement.value;
    readings++;
  }
  return readings === 0 ? null : { measured: sum / readings, readings };
}

/** A value with the age at which it was taken. */
export interface AgedValue extends VisitValue {
  readonly age: number;
  readonly visit: Visit;
}

/** Every visit of a patient at which the measure has a usable value and the age is known, youngest first. */
export function agedValues(history: PatientHistory, measureCode: string): AgedValue[] {
  const values: AgedValue[] = [];
  for (const visit of history.visits) {
    const value = visitValue(visit, measureCode);
    const age = ageAtVisit(history.patient, visit);
    if (value !== null && age !== null) values.push({ ...value, age, visit });
  }
  return values.sort((a, b) => a.age - b.age);
}

/** The study with a factor for every visit whose films carry none of their own; the study itself where it is null. */
export function withFilmFactor(study: Study, filmFactor: number | null): Study {
  if (filmFactor === null) return study;
  return study.map((history) => ({
    ...history,
    visits: history.visits.map((visit) => (visit.filmFactor === null ? { ...visit, filmFactor } : visit)),
  }));
}

/** Codes outside the catalogue are taken for values that no film enlarges. */
function isEnlarged(measureCode: string): boolean {
  return findMeasure(measureCode)?.enlarged ?? false;
}

import { findMeasure } from '../measures/catalogue';
import { ageAtVisit, type PatientHistory, type Study } from './history';
import type { Measurement, Visit } from './visit';

/** How many looks are behind a mean, and how much of the error of a single look is left in it. */
export interface ReadingCounts {
  readonly readings: number;
  readonly films: number;
  /**
   * What is left of the variance of one retracing: sum over films of 1 / (films^2 * readings of the film). Of the
   * variance between films 1 / films is left.
   */
  readonly retracingShare: number;
}

/** The value of one measure at one visit: the mean of its films, each the mean of its readings. */
export interface VisitValue extends ReadingCounts {
  /** At natural size: what is measured on a film times the film's factor. Angles and chairside values as measured. */
  readonly value: number;
  /** As measured. */
  readonly measured: number;
  /** What lengths on the visit's films were multiplied by; null where the measure is not enlarged. */
  readonly filmFactor: number | null;
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
 * Mean over the films of a visit of the mean of each film's readings (replicates and examiners) of one measure, at
 * natural size; null where it was not taken, or is a length on a film whose factor is not known (`lacksFilmFactor` tells the two apart).
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

/**
 * Mean of one measure at a visit, as measured; null where it was not taken. Films count alike, however often each was
 * read: a second look at one film does not make that film truer than the other.
 */
export function measuredMean(
  visit: Visit,
  measureCode: string,
): (ReadingCounts & { readonly measured: number }) | null {
  let sum = 0;
  let readings = 0;
  let film = 0;
  for (const measurement of visit.measurements) {
    if (measurement.measure !== measureCode) continue;
    if (readings > 0 && measurement.film !== film) return meanOfFilms(visit, measureCode);
    film = measurement.film;
    sum += measurement.value;
    readings++;
  }
  return readings === 0
    ? null
    : { measured: sum / readings, readings, films: 1, retracingShare: 1 / readings };
}

function meanOfFilms(visit: Visit, measureCode: string): ReadingCounts & { readonly measured: number } {
  const byFilm = new Map<number, { sum: number; readings: number }>();
  let readings = 0;
  for (const { measure, film, value } of visit.measurements) {
    if (measure !== measureCode) continue;
    const own = byFilm.get(film) ?? { sum: 0, readings: 0 };
    own.sum += value;
    own.readings++;
    byFilm.set(film, own);
    readings++;
  }
  const films = byFilm.size;
  let measured = 0;
  let retracingShare = 0;
  for (const own of byFilm.values()) {
    measured += own.sum / own.readings / films;
    retracingShare += 1 / (films * films * own.readings);
  }
  return { measured, readings, films, retracingShare };
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

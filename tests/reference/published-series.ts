import { readFileSync } from 'node:fs';
import { readImport } from '@longhold/core/intake';
import { agedValues, withFilmFactor, type Sex, type Study } from '@longhold/core/records';
import { referencePath } from './fixture';

/**
 * A published series of `data/`, sent through the real import. Throws with the faults where it is not accepted. Its
 * lengths are taken as printed: factor 1.
 */
export function importPublished(folder: string): Study {
  const text = (name: string): string => readFileSync(referencePath('data', folder, name), 'utf8');
  const reading = readImport({
    patients: text('patients.csv'),
    measurements: text('measurements.csv'),
    events: null,
  });
  if (!reading.ok) throw new Error(JSON.stringify(reading.faults, null, 2));
  return withFilmFactor(reading.study, 1);
}

/** Mean value at each age, youngest first, of the children of one sex. */
export function meansByAge(study: Study, sex: Sex, measure: string): [age: number, mean: number][] {
  const byAge = new Map<number, number[]>();
  for (const history of study.filter(({ patient }) => patient.sex === sex)) {
    for (const { age, value } of agedValues(history, measure)) {
      byAge.set(age, [...(byAge.get(age) ?? []), value]);
    }
  }
  return [...byAge]
    .sort(([a], [b]) => a - b)
    .map(([age, values]) => [age, values.reduce((sum, value) => sum + value, 0) / values.length]);
}

/** Least-squares slope of each child of one sex, unit per year, in the order of the import. */
export function slopesByChild(study: Study, sex: Sex, measure: string): number[] {
  return study
    .filter(({ patient }) => patient.sex === sex)
    .map((history) => {
      const values = agedValues(history, measure);
      const centre = values.reduce((sum, { age }) => sum + age, 0) / values.length;
      const across = values.reduce((sum, { age, value }) => sum + (age - centre) * value, 0);
      return across / values.reduce((sum, { age }) => sum + (age - centre) ** 2, 0);
    });
}

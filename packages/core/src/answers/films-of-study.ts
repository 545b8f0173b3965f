import type { MeasureDefinition } from '../measures';
import { lacksFilmFactor, type Study } from '../records';

/** What is known of the films behind a length, over the whole study; both 0 for what films don't enlarge. */
export interface FilmsOfStudy {
  /** Patients, treated or untreated, with values that are not used because the factor of their films is not known. */
  readonly unknown: number;
  /** Patients with values whose factor is the question's, because their films carry none of their own. */
  readonly assumed: number;
}

/**
 * How many patients have lengths on films that carry no factor, by what becomes of them under the question's factor.
 *
 * @param study as recorded, without the question's factor
 */
export function filmsOfStudy(
  study: Study,
  measure: MeasureDefinition,
  filmFactor: number | null,
): FilmsOfStudy {
  const without = study.filter(({ visits }) =>
    visits.some((visit) => lacksFilmFactor(visit, measure.code)),
  ).length;
  return filmFactor === null ? { unknown: without, assumed: 0 } : { unknown: 0, assumed: without };
}

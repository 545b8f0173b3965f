import type { MeasureDefinition, Provenance } from '../measures/definition';
import type { Study } from '../records';
import { isRefusal } from '../numeric';
import { filmErrorComponents, type FilmErrorComponents } from './between-film';
import { smallestDetectableChange } from './detectable-change';
import { duplicateError, type DuplicateError } from './duplicates';
import { repeatedReadings } from './film-readings';

/** Fewer pairs than this leave both estimators unreliable (Springate 2012: 25 to 30). */
const PAIRS_NEEDED = 25;
/**
 * Second films make pairs too, and a standard deviation is no better known from fewer of them: with 25 degrees of
 * freedom its limits reach from 0.78 to 1.39 times the estimate.
 */
const FILM_DF_NEEDED = 25;

/** The method error in force for one measure, and why it may be believed. Standard deviations in the measure's unit. */
export interface MethodErrorInForce {
  /** Of one film read once: retracing and films together. */
  readonly sd: number;
  /** Of reading one film again. */
  readonly retracingSd: number;
  /** Where `retracingSd` comes from. */
  readonly source: 'duplicates' | 'default';
  /** From the clinic's duplicates, also where they are too few to be used; null where there are none. */
  readonly duplicates: DuplicateError | null;
  /** Where the default comes from; null where duplicates are used. */
  readonly provenance: Provenance | null;
  /** What two films of one visit differ by beyond retracing. */
  readonly films: FilmErrorInForce;
  readonly degreesOfFreedom: ErrorDegreesOfFreedom;
  /** 1.96 * sqrt(2) * sd: the smallest change of one patient that exceeds measurement error, as two visits are two films. */
  readonly smallestDetectableChange: number;
}

/** How far both parts were estimated in this study; null for a part that was not. */
export interface ErrorDegreesOfFreedom {
  /** Of the retracing variance: the pairs behind it. */
  readonly retracing: number | null;
  /** Of the whole variance of one film read once, from second films. */
  readonly whole: number | null;
}

/** The part of the method error that every film adds anew, however often it is read. */
export interface FilmErrorInForce {
  /** 0 where it is not known or there are no films. */
  readonly sd: number;
  /**
   * `second-films`: from visits of this study at which two films were taken. `default`: published. `not-known`: neither,
   * so that it is left out. `no-film`: the measure is not read on films.
   */
  readonly source: 'second-films' | 'default' | 'not-known' | 'no-film';
  /** From the clinic's second films, also where they are too few to be used; null where there are none. */
  readonly own: FilmErrorComponents | null;
  /** Where the default comes from; null elsewhere. */
  readonly provenance: Provenance | null;
}

/**
 * The method error in force for a measure. Retracing: Dahlberg's error of the study's own duplicates where there are at
 * least 25 pairs that are not all equal, else the catalogue's default, marked as such. Films: what the whole error of
 * second films leaves after that retracing, where there are 25 degrees of freedom between films and, if some films were
 * read more than once, as many within them; else what is published for the measure; else it is not known and left out.
 */
export function methodErrorInForce(study: Study, measure: MeasureDefinition): MethodErrorInForce {
  const { pairs, films: readings } = repeatedReadings(study, measure.code);
  const duplicates = duplicateError(pairs);
  const usable = duplicates !== null && duplicates.pairs >= PAIRS_NEEDED && duplicates.dahlberg > 0;
  const retracingSd = usable ? duplicates.dahlberg : measure.defaultError.sd;
  const components = filmErrorComponents(readings);
  const films = filmErrorInForce(measure, isRefusal(components) ? null : components, retracingSd);
  const sd = Math.hypot(retracingSd, films.sd);
  return {
    sd,
    retracingSd,
    source: usable ? 'duplicates' : 'default',
    duplicates,
    provenance: usable ? null : measure.defaultError.provenance,
    films,
    degreesOfFreedom: {
      retracing: usable ? duplicates.pairs : null,
      whole: films.source === 'second-films' ? (films.own?.df ?? null) : null,
    },
    smallestDetectableChange: smallestDetectableChange(sd),
  };
}

function filmErrorInForce(
  { onFilm, defaultError }: MeasureDefinition,
  own: FilmErrorComponents | null,
  retracingSd: number,
): FilmErrorInForce {
  if (!onFilm) return { sd: 0, source: 'no-film', own: null, provenance: null };
  if (own !== null && isEnough(own)) {
    const sd = Math.sqrt(Math.max(0, own.whole.sd ** 2 - retracingSd ** 2));
    return { sd, source: 'second-films', own, provenance: null };
  }
  const published = defaultError.betweenFilms;
  return published === null
    ? { sd: 0, source: 'not-known', own, provenance: null }
    : { sd: published.sd, source: 'default', own, provenance: published.provenance };
}

/** Films read once each need no retracings to tell the whole error; their share is 1 but for rounding. */
function isEnough({ df, retracing, retracingShare }: FilmErrorComponents): boolean {
  const eachReadOnce = retracingShare > 1 - 1e-9;
  return df >= FILM_DF_NEEDED && (eachReadOnce || (retracing?.df ?? 0) >= FILM_DF_NEEDED);
}

/** The same error, all parts multiplied: to learn how much hangs on it. What was estimated stays as it is. */
export function scaledMethodError(error: MethodErrorInForce, factor: number): MethodErrorInForce {
  return {
    ...error,
    sd: factor * error.sd,
    retracingSd: factor * error.retracingSd,
    films: { ...error.films, sd: factor * error.films.sd },
    smallestDetectableChange: factor * error.smallestDetectableChange,
  };
}

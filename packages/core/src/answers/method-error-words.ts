import type { FilmErrorInForce, MethodErrorInForce } from '../agreement';
import type { ReferenceDescription } from '../growth';
import type { Unit } from '../measures/definition';
import type { Limits } from '../retention';
import { countText, measureText } from './number-text';

/** The two parts of the method error in force in plain sentences, and the whole. */
export interface MethodErrorWords {
  /** The whole error of one film read once. */
  readonly whole: string;
  /** Of retracing: its size, where it comes from and its limits. */
  readonly retracing: string;
  /** Between films: the same; or that it is not known, or that there are no films. */
  readonly films: string;
}

/** Which method error is used and why it may be believed: the whole, then its parts. */
export function methodErrorWords(error: MethodErrorInForce, unit: Unit): MethodErrorWords {
  const onFilm = error.films.source !== 'no-film';
  return {
    whole: `${measureText(error.sd, unit, 2)} for ${onFilm ? 'one film read once' : 'one reading'}.`,
    retracing: retracingWords(error, unit),
    films: filmWords(error.films, unit),
  };
}

function retracingWords(
  { retracingSd, source, duplicates, provenance, films }: MethodErrorInForce,
  unit: Unit,
): string {
  const size = `${films.source === 'no-film' ? 'Of reading' : 'Of retracing one film'}: ${measureText(retracingSd, unit, 2)}`;
  if (source === 'duplicates' && duplicates !== null)
    return `${size} (Dahlberg 1940), from ${countText(duplicates.pairs)} pairs of duplicate readings in these records (95\u00a0% limits ${limitsText(duplicates.dahlbergLimits, unit)}).`;
  const found =
    duplicates === null ? 'no duplicates' : `only ${countText(duplicates.pairs)} pairs of duplicates`;
  const origin = provenance === null ? '' : ` ${provenance.text} (${provenance.kind}.)`;
  return `${size}, a default, because there are ${found} in these records and 25 are needed.${origin}`;
}

function filmWords({ sd, source, own, provenance }: FilmErrorInForce, unit: Unit): string {
  switch (source) {
    case 'no-film':
      return 'This measure is not read on films.';
    case 'second-films': {
      const limits =
        own === null || own.betweenFilms === null
          ? 'no film was read twice, so its limits cannot be told'
          : `95\u00a0% limits ${limitsText(own.betweenFilms.limits, unit)}`;
      const found = sd === 0 ? ', no more than retracing explains' : '';
      return `Between films of one visit: ${measureText(sd, unit, 2)}${found}, from ${secondFilmsText(own)}${readingsText(own)} in these records (${limits}).`;
    }
    case 'default':
      return `Between films of one visit: ${measureText(sd, unit, 2)}, a default, because ${areThere(own)} in these records and 25 are needed. ${provenance === null ? '' : `${provenance.text} (${provenance.kind}.)`}`;
    case 'not-known':
      return `Between films of one visit: not known and left out, because ${areThere(own)} in these records, and 25 are needed; nothing is published for this measure.`;
  }
}

function secondFilmsText(own: FilmErrorInForce['own']): string {
  if (own === null) return 'no second films';
  return own.df === 1 ? '1 second film' : `${countText(own.df)} second films`;
}

/** All that the analysis rests on: also films read twice at visits with one film, which tell of retracing. */
function readingsText(own: FilmErrorInForce['own']): string {
  return own === null
    ? ''
    : ` (with retracings ${countText(own.readings)} readings of ${countText(own.films)} films)`;
}

function areThere(own: FilmErrorInForce['own']): string {
  return `there ${own?.df === 1 ? 'is' : 'are'} ${secondFilmsText(own)}`;
}

function limitsText({ lower, upper }: Limits, unit: Unit): string {
  return `${measureText(lower, unit, 2)} to ${measureText(upper, unit, 2)}`;
}

/**
 * What it means that the error between films is left out. With a growth curve of the same clinic that error scatters the
 * untreated children's values, so that it is counted as growth; a table knows nothing of it.
 */
export function filmErrorLeftOut(reference: ReferenceDescription): string {
  return reference.kind === 'untreated-series'
    ? 'so the smallest detectable change is too small by it, and more losses are errors than are expected; in the limits of single patients it is counted as their own growth'
    : 'so the smallest detectable change and every limit of a single patient are too narrow by it, and more losses are errors than are expected';
}

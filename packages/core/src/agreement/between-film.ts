import { checkColumn, READING, refuse, type Refusal } from '../numeric';
import { checkShare, largestSize } from './checks';
import { differenceOfMeanSquaresLimits, sumOfMeanSquaresLimits } from './mover';
import { rowsBySubject, withoutRounding, type SubjectLabel } from './subjects';
import { standardDeviationLimits, type Limits } from './variance-limits';

/** One reading a row: at which visit of which patient, on which film of that visit, and what was read. */
export interface FilmReadings {
  readonly visit: ArrayLike<SubjectLabel>;
  /** Equal labels are one film within a visit; film 1 of two visits is two films. */
  readonly film: ArrayLike<SubjectLabel>;
  readonly value: ArrayLike<number>;
}

/** Error of retracing told apart from error between films of one visit. Unit of the measure; variances in its square. */
export interface FilmErrorComponents {
  readonly level: number;
  readonly visits: number;
  /** Visits with two films or more; only these tell films apart. */
  readonly visitsWithFilms: number;
  readonly films: number;
  readonly readings: number;
  /** Readings of one film about their mean; null where no film was read twice. */
  readonly retracing: {
    readonly sd: number;
    /** Readings - films. */
    readonly df: number;
    /** Chi-squared limits; null where the SD is 0. */
    readonly limits: Limits | null;
  } | null;
  /** What films of one visit differ by beyond retracing; null where no film was read twice. */
  readonly betweenFilms: {
    /** Below 0 where films differ less than retracing alone would make them. */
    readonly variance: number;
    /** Its root, 0 for a variance below 0. */
    readonly sd: number;
    /** Of the SD, by the modified large-sample method; the lower one is 0 where retracing alone could explain it. */
    readonly limits: Limits;
  } | null;
  /** One film read once: both parts together. */
  readonly whole: { readonly sd: number; readonly limits: Limits };
  /** Degrees of freedom between films: films less visits, over the visits with two or more. */
  readonly df: number;
  /** Mean square of the films' means about their visit's mean, every film counted once. */
  readonly filmMeanSquare: number;
  /** How much of the retracing variance `filmMeanSquare` holds; 1 where each film was read once. */
  readonly retracingShare: number;
}

/**
 * Nested analysis of variance of readings within films within visits, where a visit's true value is fixed. Numbers of
 * films and readings may be unequal: films are compared by their unweighted means, so that each film counts once, as it
 * does in a visit's value. Between-film variance = mean square of film means - share * retracing mean square. Equal to
 * the classical nested analysis, and to restricted maximum likelihood where that is above 0, for equal numbers.
 * Sources: Searle, Casella and McCulloch 1992 (expected mean squares); Burdick and Graybill 1992 (unweighted means;
 * limits), both from memory.
 *
 * @returns a refusal for a level outside (0, 1), columns of unequal length, a reading that is no number, no visit with
 *   two films, or readings without variation
 */
export function filmErrorComponents(
  data: FilmReadings,
  options: { readonly level?: number } = {},
): FilmErrorComponents | Refusal {
  const { level = 0.95 } = options;
  const rows = data.visit.length;
  const wrong = checkShare('level', level) ?? checkColumn('value', data.value, READING, rows);
  if (wrong !== null) return wrong;
  if (data.film.length !== rows)
    return refuse('wrong-length', `film has ${data.film.length} entries where ${rows} are needed.`);
  const sums = nestedSums(data);
  const { visits, films, visitsWithFilms, df } = sums;
  if (df === 0)
    return refuse('no-second-films', 'No visit has readings of two films; at least one must have.');
  const retracingDf = rows - films;
  const size = largestSize(data.value);
  const filmMeanSquare = withoutRounding(sums.betweenFilms, rows, size) / df;
  const retracingShare = sums.retracingShares / df;
  const retracingMeanSquare = withoutRounding(sums.withinFilms, rows, size) / retracingDf;
  if (filmMeanSquare === 0 && !(retracingMeanSquare > 0))
    return refuse('no-variation', 'All readings of each visit are equal; no error can be estimated.');
  const between = { weight: 1, meanSquare: filmMeanSquare, df };
  const counts = {
    level,
    visits,
    visitsWithFilms,
    films,
    readings: rows,
    df,
    filmMeanSquare,
    retracingShare,
  };
  if (retracingDf === 0) {
    const sd = Math.sqrt(filmMeanSquare);
    const limits = rootLimits(sumOfMeanSquaresLimits([between], level));
    return { ...counts, retracing: null, betweenFilms: null, whole: { sd, limits } };
  }
  const retraced = { meanSquare: retracingMeanSquare, df: retracingDf };
  const variance = filmMeanSquare - retracingShare * retracingMeanSquare;
  const rest = { ...retraced, weight: 1 - retracingShare };
  const retracingSd = Math.sqrt(retracingMeanSquare);
  return {
    ...counts,
    retracing: {
      sd: retracingSd,
      df: retracingDf,
      limits: standardDeviationLimits(retracingSd, retracingDf, level),
    },
    betweenFilms: {
      variance,
      sd: Math.sqrt(Math.max(0, variance)),
      limits: rootLimits(
        differenceOfMeanSquaresLimits(between, { ...retraced, weight: retracingShare }, level),
      ),
    },
    whole: {
      sd: Math.sqrt(filmMeanSquare + rest.weight * retracingMeanSquare),
      limits: rootLimits(sumOfMeanSquaresLimits([between, rest], level)),
    },
  };
}

/** Sums over visits of what the two mean squares are made of. */
interface NestedSums {
  readonly visits: number;
  readonly visitsWithFilms: number;
  readonly films: number;
  /** Films less visits. */
  readonly df: number;
  /** Sum of squares of film means about their visit's mean of film means. */
  readonly betweenFilms: number;
  /** Sum of squares of readings about their film's mean. */
  readonly withinFilms: number;
  /** Sum, over visits, of (1 - 1 / films) * sum of 1 / readings: what retracing adds to `betweenFilms`. */
  readonly retracingShares: number;
}

function nestedSums({ visit, film, value }: FilmReadings): NestedSums {
  let films = 0;
  let visitsWithFilms = 0;
  let betweenFilms = 0;
  let withinFilms = 0;
  let retracingShares = 0;
  const byVisit = rowsBySubject(visit);
  for (const rows of byVisit) {
    const readings = rowsBySubject(rows.map((row) => film[row] ?? '')).map((places) =>
      places.map((place) => value[rows[place] ?? -1] ?? NaN),
    );
    const means = readings.map(meanFromFirst);
    const centre = meanFromFirst(means);
    films += readings.length;
    if (readings.length > 1) visitsWithFilms++;
    readings.forEach((own, i) => {
      const mean = means[i] ?? NaN;
      betweenFilms += (mean - centre) ** 2;
      for (const one of own) withinFilms += (one - mean) ** 2;
      retracingShares += (1 - 1 / readings.length) / own.length;
    });
  }
  const visits = byVisit.length;
  return { visits, visitsWithFilms, films, df: films - visits, betweenFilms, withinFilms, retracingShares };
}

/** From the first value on, so that equal values are their own mean. */
function meanFromFirst(values: readonly number[]): number {
  const start = values[0] ?? NaN;
  return start + values.reduce((sum, value) => sum + (value - start), 0) / values.length;
}

/** Limits of a standard deviation from those of its variance, cut off at 0. */
function rootLimits({ lower, upper }: Limits): Limits {
  return { lower: Math.sqrt(Math.max(0, lower)), upper: Math.sqrt(Math.max(0, upper)) };
}

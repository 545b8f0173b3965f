import type { MeasureDefinition, Provenance } from '../measures/definition';
import type { Measurement } from '../records/visit';
import type { Study } from '../records/history';
import { naturalSize } from '../records/readings';
import { smallestDetectableChange } from './detectable-change';
import { duplicateError, type DuplicateError, type DuplicatePair } from './duplicates';

/** Fewer pairs than this leave both estimators unreliable (Springate 2012: 25 to 30). */
const PAIRS_NEEDED = 25;

/** The method error in force for one measure, and why it may be believed. */
export interface MethodErrorInForce {
  /** Standard deviation of one reading, in the measure's unit. */
  readonly sd: number;
  readonly source: 'duplicates' | 'default';
  /** From the clinic's duplicates, also where they are too few to be used; null where there are none. */
  readonly duplicates: DuplicateError | null;
  /** Where the default comes from; null where duplicates are used. */
  readonly provenance: Provenance | null;
  /** 1.96 * sqrt(2) * sd: the smallest change of one patient that exceeds measurement error. */
  readonly smallestDetectableChange: number;
}

/**
 * The method error in force for a measure: Dahlberg's error of the study's own duplicates where there are at
 * least 25 pairs that are not all equal, else the catalogue's default, marked as such.
 */
export function methodErrorInForce(study: Study, measure: MeasureDefinition): MethodErrorInForce {
  const duplicates = duplicateError(duplicatePairs(study, measure.code));
  const usable = duplicates !== null && duplicates.pairs >= PAIRS_NEEDED && duplicates.dahlberg > 0;
  const sd = usable ? duplicates.dahlberg : measure.defaultError.sd;
  return {
    sd,
    source: usable ? 'duplicates' : 'default',
    duplicates,
    provenance: usable ? null : measure.defaultError.provenance,
    smallestDetectableChange: smallestDetectableChange(sd),
  };
}

/**
 * Every pair of first and second reading of one measure on the same film by the same examiner, over the whole study,
 * treated and untreated, at natural size. Further replicates are left out, so that pairs stay independent, and so are
 * lengths on films whose factor is not known.
 */
export function duplicatePairs(study: Study, measureCode: string): DuplicatePair[] {
  const pairs: DuplicatePair[] = [];
  for (const history of study) {
    for (const visit of history.visits) {
      for (const readings of readingsByFilm(visit.measurements, measureCode).values()) {
        const [first, second] = readings.sort((a, b) => a.replicate - b.replicate);
        if (first === undefined || second === undefined) continue;
        const [one, other] = [naturalSize(visit, first), naturalSize(visit, second)];
        if (one !== null && other !== null) pairs.push([one, other]);
      }
    }
  }
  return pairs;
}

/** Readings by examiner and film. */
function readingsByFilm(
  measurements: readonly Measurement[],
  measureCode: string,
): Map<string, Measurement[]> {
  const byFilm = new Map<string, Measurement[]>();
  for (const measurement of measurements) {
    if (measurement.measure !== measureCode) continue;
    const key = `${measurement.film}|${measurement.examiner}`;
    const readings = byFilm.get(key);
    if (readings === undefined) byFilm.set(key, [measurement]);
    else readings.push(measurement);
  }
  return byFilm;
}

import { naturalSize, type Measurement, type Study, type Visit } from '../records';
import type { DuplicatePair } from './duplicates';

/** Readings of one measure from which its error can be learnt, at natural size. */
export interface RepeatedReadings {
  /** First and second reading of one film by one examiner. Further ones are left out, so that pairs stay independent. */
  readonly pairs: readonly DuplicatePair[];
  /** One entry a reading, of visits at which the measure was read more than once. */
  readonly films: { readonly visit: string[]; readonly film: string[]; readonly value: number[] };
}

/**
 * Every repeated reading of one measure over the whole study, treated and untreated. Films of a visit are compared by
 * the readings of one examiner, the one who read most of them, since two examiners of one film share what that film
 * adds; what the others read twice on a film still tells of retracing. Lengths on films whose factor is not known are
 * left out.
 */
export function repeatedReadings(study: Study, measureCode: string): RepeatedReadings {
  const pairs: DuplicatePair[] = [];
  const films = { visit: [] as string[], film: [] as string[], value: [] as number[] };
  let visits = 0;
  for (const history of study) {
    for (const visit of history.visits) {
      const readings = visit.measurements.filter(({ measure }) => measure === measureCode);
      const [first] = readings;
      if (readings.length < 2 || first === undefined || naturalSize(visit, first) === null) continue;
      const label = `${visits++}`;
      const examiner = readerOfMost(readings);
      for (const own of readingsByFilm(readings)) {
        const values = sizes(visit, own);
        const [one, other] = values;
        if (one !== undefined && other !== undefined) pairs.push([one, other]);
        const film = `${own[0]?.film ?? 1}`;
        const compared = own[0]?.examiner === examiner;
        for (const value of values) {
          films.visit.push(compared ? label : `${label} ${own[0]?.examiner ?? ''} ${film}`);
          films.film.push(film);
          films.value.push(value);
        }
      }
    }
  }
  return { pairs, films };
}

/** Readings by examiner and film, each in the order of their replicates. */
function readingsByFilm(readings: readonly Measurement[]): Measurement[][] {
  const byFilm = new Map<string, Measurement[]>();
  for (const reading of readings) {
    const key = `${reading.film}|${reading.examiner}`;
    const own = byFilm.get(key);
    if (own === undefined) byFilm.set(key, [reading]);
    else own.push(reading);
  }
  return [...byFilm.values()].map((own) => own.sort((a, b) => a.replicate - b.replicate));
}

/** Who read most films of a visit; of several the one with most readings, then the first by code. */
function readerOfMost(readings: readonly Measurement[]): string {
  const read = new Map<string, { films: Set<number>; readings: number }>();
  for (const { examiner, film } of readings) {
    const known = read.get(examiner) ?? { films: new Set<number>(), readings: 0 };
    known.films.add(film);
    known.readings++;
    read.set(examiner, known);
  }
  const [most] = [...read].sort(
    ([a, one], [b, other]) =>
      other.films.size - one.films.size || other.readings - one.readings || (a < b ? -1 : 1),
  );
  return most?.[0] ?? '';
}

function sizes(visit: Visit, readings: readonly Measurement[]): number[] {
  return readings.flatMap((reading) => naturalSize(visit, reading) ?? []);
}

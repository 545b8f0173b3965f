import type { RandomStream } from '@longhold/core/numeric';
import type { Measurement, Visit } from '@longhold/core/records';
import { findMeasure } from '@longhold/core/measures';
import { happens } from './draws';
import {
  DEMO_MEASURES,
  ERROR_SDS,
  FILM_ERROR_SDS,
  LINE_ERROR_SD,
  NASION_ERROR_SD,
  WITHOUT_RADIOGRAPH,
  type DemoMeasure,
  type MeasureValues,
} from './measure-model';
import type { FilmSize } from './model-types';
import { READINGS } from './parameters';

const DEFINITIONS = new Map(DEMO_MEASURES.map((code) => [code, findMeasure(code)]));
const SCALE = 10 ** READINGS.decimals;

/** Where a study's randomness comes from. */
export interface DemoStreams {
  readonly random: RandomStream;
  /** For films that were taken again at the same visit, and what was read on them. */
  readonly retakes: RandomStream;
  /** For what each film adds to all that is read on it. */
  readonly films: RandomStream;
}

/**
 * All that is recorded at one visit: readings, sometimes doubled or by a second examiner, with gaps; a film that was
 * taken again, because the first was blurred, is read once.
 *
 * @param films null where no radiograph was taken
 */
export function drawFilms(
  { random, retakes, films: positions }: DemoStreams,
  truth: MeasureValues,
  films: FilmSize | null,
): Pick<Visit, 'filmFactor' | 'filmFactorEvidence' | 'measurements'> {
  const taken = DEMO_MEASURES.filter(
    (code) => (films !== null || WITHOUT_RADIOGRAPH.has(code)) && !happens(random, READINGS.measureNotTaken),
  );
  const [first, second] = READINGS.examiners;
  const factor = films?.filmFactor ?? 1;
  const read = (
    stream: RandomStream,
    shown: MeasureValues,
    which: Pick<Measurement, 'film' | 'replicate' | 'examiner'>,
  ) => drawReading(stream, shown, taken, factor, which);
  const firstFilm = drawFilm(positions, truth);
  const measurements = read(random, firstFilm, { film: 1, replicate: 1, examiner: first });
  if (films === null) return { filmFactor: null, filmFactorEvidence: null, measurements };
  if (happens(random, READINGS.duplicates))
    measurements.push(...read(random, firstFilm, { film: 1, replicate: 2, examiner: first }));
  if (happens(random, READINGS.secondExaminer))
    measurements.push(...read(random, firstFilm, { film: 1, replicate: 1, examiner: second }));
  if (happens(retakes, READINGS.filmTakenAgain))
    measurements.push(
      ...read(retakes, drawFilm(positions, truth), { film: 2, replicate: 1, examiner: first }),
    );
  return { ...films, measurements };
}

/** What one film shows of every measure. */
function drawFilm(positions: RandomStream, truth: MeasureValues): MeasureValues {
  const shown = (measure: keyof typeof FILM_ERROR_SDS): number =>
    truth[measure] + FILM_ERROR_SDS[measure] * positions.normal();
  return {
    ...truth,
    'Co-Gn': shown('Co-Gn'),
    'Co-Go': shown('Co-Go'),
    'Go-Pog': shown('Go-Pog'),
    SNA: shown('SNA'),
    SNB: shown('SNB'),
  };
}

function drawReading(
  random: RandomStream,
  truth: MeasureValues,
  taken: readonly DemoMeasure[],
  filmFactor: number,
  which: Pick<Measurement, 'film' | 'replicate' | 'examiner'>,
): Measurement[] {
  const read = drawReadValues(random, truth);
  return taken.flatMap((measure): Measurement[] => {
    const definition = DEFINITIONS.get(measure);
    if (definition === undefined) return [];
    const measured = definition.enlarged ? read[measure] / filmFactor : read[measure];
    /* adding 0 turns a rounded -0 into 0 */
    const value = Math.round(measured * SCALE) / SCALE + 0;
    return [{ measure, value, unit: definition.unit, ...which }];
  });
}

/** One reading of every measure with its error, before rounding. */
function drawReadValues(random: RandomStream, truth: MeasureValues): MeasureValues {
  const nasion = NASION_ERROR_SD * random.normal();
  const line = LINE_ERROR_SD * random.normal();
  const read = (measure: keyof typeof ERROR_SDS): number =>
    truth[measure] + ERROR_SDS[measure] * random.normal();
  const sna = read('SNA') + nasion;
  const snb = read('SNB') + nasion;
  const upperIncisor = read('is-OLp') + line;
  const lowerIncisor = read('ii-OLp') + line;
  const upperMolar = read('ms-OLp') + line;
  const lowerMolar = read('mi-OLp') + line;
  return {
    'Co-Gn': read('Co-Gn'),
    'Co-Go': read('Co-Go'),
    'Go-Pog': read('Go-Pog'),
    SNA: sna,
    SNB: snb,
    ANB: sna - snb,
    Wits: read('Wits'),
    overjet: upperIncisor - lowerIncisor,
    overbite: read('overbite'),
    molar: upperMolar - lowerMolar,
    'ss-OLp': read('ss-OLp') + line,
    'pg-OLp': read('pg-OLp') + line,
    'is-OLp': upperIncisor,
    'ii-OLp': lowerIncisor,
    'ms-OLp': upperMolar,
    'mi-OLp': lowerMolar,
    'co-OLp': read('co-OLp') - line,
  };
}

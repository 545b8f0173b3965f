import type { RandomStream } from '@longhold/core/numeric';
import type { Measurement } from '@longhold/core/records';
import { findMeasure } from '@longhold/core/measures';
import { happens } from './draws';
import {
  DEMO_MEASURES,
  ERROR_SDS,
  LINE_ERROR_SD,
  NASION_ERROR_SD,
  WITHOUT_RADIOGRAPH,
  type DemoMeasure,
  type MeasureValues,
} from './measure-model';
import { READINGS } from './parameters';

const UNITS = new Map(DEMO_MEASURES.map((code) => [code, findMeasure(code)?.unit ?? 'mm']));
const SCALE = 10 ** READINGS.decimals;

/** All that is recorded at one visit: readings, sometimes doubled or by a second examiner, with gaps. */
export function drawMeasurements(
  random: RandomStream,
  truth: MeasureValues,
  withRadiograph: boolean,
): Measurement[] {
  const taken = DEMO_MEASURES.filter(
    (code) => (withRadiograph || WITHOUT_RADIOGRAPH.has(code)) && !happens(random, READINGS.measureNotTaken),
  );
  const [first, second] = READINGS.examiners;
  const measurements = drawReading(random, truth, taken, 1, first);
  if (!withRadiograph) return measurements;
  if (happens(random, READINGS.duplicates)) measurements.push(...drawReading(random, truth, taken, 2, first));
  if (happens(random, READINGS.secondExaminer))
    measurements.push(...drawReading(random, truth, taken, 1, second));
  return measurements;
}

function drawReading(
  random: RandomStream,
  truth: MeasureValues,
  taken: readonly DemoMeasure[],
  replicate: number,
  examiner: string,
): Measurement[] {
  const read = drawReadValues(random, truth);
  return taken.map((measure) => ({
    measure,
    /* adding 0 turns a rounded -0 into 0 */
    value: Math.round(read[measure] * SCALE) / SCALE + 0,
    unit: UNITS.get(measure) ?? 'mm',
    replicate,
    examiner,
    film: 1,
  }));
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

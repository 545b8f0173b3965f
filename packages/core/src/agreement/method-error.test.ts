import { describe, expect, it } from 'vitest';
import { findMeasure, type MeasureDefinition } from '../measures';
import { createRandom } from '../numeric';
import { patientHistorySchema, type Measurement, type PatientHistory, type Study } from '../records';
import { repeatedReadings } from './film-readings';
import { methodErrorInForce, scaledMethodError } from './method-error';

type Look = Pick<Measurement, 'value'> & Partial<Measurement>;

function measureOf(code: string): MeasureDefinition {
  const found = findMeasure(code);
  if (found === undefined) throw new Error(code);
  return found;
}

/** An untreated child with one visit and these readings of one measure. */
function child(code: string, measure: MeasureDefinition, looks: readonly Look[]): PatientHistory {
  return patientHistorySchema.parse({
    patient: {
      code,
      sex: 'male',
      birthDate: null,
      group: 'untreated',
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: [
      {
        kind: 'follow_up',
        date: null,
        ageYears: 12,
        filmFactor: 1,
        measurements: looks.map((look) => ({
          measure: measure.code,
          unit: measure.unit,
          replicate: 1,
          examiner: 'E1',
          film: 1,
          ...look,
        })),
      },
    ],
    events: [],
  });
}

const FILM_SD = 0.9;
const RETRACING_SD = 0.5;

/** So many visits with film 1 read twice, and so many with two films read once each. */
function study(code: string, counts: { retraced: number; refilmed: number }, seed = 3): Study {
  const random = createRandom(seed);
  const measure = measureOf(code);
  const truth = measure.unit === 'mm' ? 110 : 80;
  const film = (): number => truth + FILM_SD * random.normal();
  const read = (value: number): number => value + RETRACING_SD * random.normal();
  const retraced = Array.from({ length: counts.retraced }, (_, i) => {
    const first = film();
    return child(`R-${i}`, measure, [{ value: read(first) }, { value: read(first), replicate: 2 }]);
  });
  const refilmed = Array.from({ length: counts.refilmed }, (_, i) =>
    child(`F-${i}`, measure, [{ value: read(film()) }, { value: read(film()), film: 2 }]),
  );
  return [...retraced, ...refilmed];
}

describe('the method error in force', () => {
  it('holds both parts where retracings and second films are enough', () => {
    const error = methodErrorInForce(study('Co-Gn', { retraced: 400, refilmed: 400 }), measureOf('Co-Gn'));
    expect(error.source).toBe('duplicates');
    expect(error.films.source).toBe('second-films');
    expect(error.retracingSd).toBeCloseTo(RETRACING_SD, 1);
    expect(error.films.sd).toBeCloseTo(FILM_SD, 1);
    expect(error.sd).toBeCloseTo(Math.hypot(error.retracingSd, error.films.sd), 12);
    expect(error.smallestDetectableChange).toBeCloseTo(1.96 * Math.SQRT2 * error.sd, 12);
  });

  it('takes second films from 25 degrees of freedom on, and not before', () => {
    const source = (refilmed: number) =>
      methodErrorInForce(study('Co-Gn', { retraced: 30, refilmed }), measureOf('Co-Gn')).films.source;
    expect(source(24)).toBe('not-known');
    expect(source(25)).toBe('second-films');
  });

  it('leaves the part between films out where nothing is known of it, and keeps what few films say', () => {
    const error = methodErrorInForce(study('Co-Gn', { retraced: 30, refilmed: 4 }), measureOf('Co-Gn'));
    expect(error.films).toMatchObject({ sd: 0, source: 'not-known', provenance: null });
    expect(error.films.own?.df).toBe(4);
    expect(error.sd).toBe(error.retracingSd);
  });

  it('takes the whole error from second films where retracings are too few, less the default for retracing', () => {
    const measure = measureOf('SNB');
    const error = methodErrorInForce(study('SNB', { retraced: 0, refilmed: 300 }), measure);
    expect(error.source).toBe('default');
    expect(error.retracingSd).toBe(measure.defaultError.sd);
    expect(error.sd).toBeCloseTo(error.films.own?.whole.sd ?? NaN, 12);
    expect(error.films.sd).toBeLessThan(error.sd);
  });

  // Two films of each of 100 adults: SD of the difference 1.85 degrees.
  it('of SNA is the published one of two films, also where only retracing is known from own readings', () => {
    const none = methodErrorInForce([], measureOf('SNA'));
    expect(none.sd).toBeCloseTo(1.85 / Math.SQRT2, 2);
    expect(none.films).toMatchObject({ source: 'default', provenance: { kind: 'published' } });
    const own = methodErrorInForce(study('SNA', { retraced: 60, refilmed: 0 }), measureOf('SNA'));
    expect(own.source).toBe('duplicates');
    expect(own.sd).toBeCloseTo(Math.hypot(own.retracingSd, none.films.sd), 12);
  });

  it('knows no films for what is read at the chair', () => {
    const error = methodErrorInForce([], measureOf('overjet'));
    expect(error.films).toEqual({ sd: 0, source: 'no-film', own: null, provenance: null });
    expect(error.sd).toBe(error.retracingSd);
  });

  it('is scaled as a whole, and what was estimated stays as it is', () => {
    const error = methodErrorInForce(study('Co-Gn', { retraced: 30, refilmed: 30 }), measureOf('Co-Gn'));
    const doubled = scaledMethodError(error, 2);
    expect(doubled.sd).toBeCloseTo(Math.hypot(doubled.retracingSd, doubled.films.sd), 12);
    expect(doubled.smallestDetectableChange).toBeCloseTo(2 * error.smallestDetectableChange, 12);
    expect(doubled.films.own).toBe(error.films.own);
  });
});

describe('repeated readings', () => {
  const measure = measureOf('Co-Gn');

  it('compare films by one examiner, since two examiners of one film share what it adds', () => {
    const { films } = repeatedReadings(
      [
        child('A-1', measure, [
          { value: 110 },
          { value: 112, film: 2 },
          { value: 111, examiner: 'E2' },
          { value: 111.5, examiner: 'E2', replicate: 2 },
        ]),
      ],
      'Co-Gn',
    );
    const compared = films.visit.filter((visit) => visit === films.visit[0]);
    expect(compared).toHaveLength(2);
    expect(new Set(films.visit).size).toBe(2);
    expect(films.value).toEqual([110, 112, 111, 111.5]);
  });

  it('leave out lengths on films whose factor is not known', () => {
    const known = child('A-1', measure, [{ value: 110 }, { value: 111, replicate: 2 }]);
    const unknown = { ...known, visits: known.visits.map((visit) => ({ ...visit, filmFactor: null })) };
    expect(repeatedReadings([unknown], 'Co-Gn')).toEqual({
      pairs: [],
      films: { visit: [], film: [], value: [] },
    });
    expect(repeatedReadings([known], 'Co-Gn').pairs).toEqual([[110, 111]]);
  });
});

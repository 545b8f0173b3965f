import { readImport } from '@longhold/core/intake';
import { duplicateError, filmErrorComponents, repeatedReadings } from '@longhold/core/agreement';
import { isRefusal } from '@longhold/core/numeric';
import {
  ageAtVisit,
  naturalSize,
  patientHistorySchema,
  measuredMean,
  visitOfKind,
  visitValue,
  yearsSinceActiveEnd,
  type PatientHistory,
  type Visit,
} from '@longhold/core/records';
import { describe, expect, it } from 'vitest';
import { demoFiles, DEMO_MEASURES, errorSd, generateDemo, growthSince8, retracingSd } from './index';

const large = generateDemo({ seed: 11, patients: 3000 });
const treated = large.study.filter(({ patient }) => patient.group === 'treated');

describe('the invented study', () => {
  it('is the same for the same seed and another for another', () => {
    const once = demoFiles({ seed: 3, patients: 25 });
    expect(demoFiles({ seed: 3, patients: 25 })).toEqual(once);
    expect(demoFiles({ seed: 4, patients: 25 })['measurements.csv']).not.toBe(once['measurements.csv']);
  });

  it('comes back unchanged through the import', () => {
    const { study, tables } = generateDemo({ seed: 5, patients: 60 });
    const files = demoFiles({ seed: 5, patients: 60 });
    const reading = readImport({
      patients: files['patients.csv'],
      measurements: files['measurements.csv'],
      events: files['events.csv'],
      growthTables: files['growth-table.csv'],
    });
    expect(reading).toEqual({ ok: true, study, tables });
  });

  it('satisfies the schema of records', () => {
    for (const history of large.study.slice(0, 500)) patientHistorySchema.parse(history);
  });

  it('holds no date after the day on which it is read', () => {
    for (const { patient, visits, events } of large.study) {
      for (const visit of visits) expect((visit.date ?? '') <= large.today).toBe(true);
      for (const event of events) expect(event.date <= large.today).toBe(true);
      expect((patient.activeEnd ?? '') <= large.today).toBe(true);
    }
  });

  it('shows nobody after they moved or withdrew, or without consent', () => {
    for (const { patient, visits, events } of treated) {
      const left = events.find(({ event }) => event === 'moved' || event === 'withdrew');
      const followUps = visits.filter(({ kind }) => kind === 'follow_up');
      if (left !== undefined) expect(followUps.every(({ date }) => (date ?? '') < left.date)).toBe(true);
      if (!patient.consentFollowUp) expect(followUps).toEqual([]);
    }
  });

  it('sees patients yearly, early or late but within the half year around the anniversary', () => {
    for (const history of treated) {
      for (const visit of history.visits.filter(({ kind }) => kind === 'follow_up')) {
        const years = yearsSinceActiveEnd(history, visit) ?? NaN;
        expect(Math.abs(years - Math.round(years))).toBeLessThan(0.46);
      }
    }
  });

  it('refuses a seed or a number of patients that is not a whole number in range', () => {
    expect(() => generateDemo({ seed: -1, patients: 10 })).toThrow(RangeError);
    expect(() => generateDemo({ seed: 1.5, patients: 10 })).toThrow(RangeError);
    expect(() => generateDemo({ seed: 1, patients: 0 })).toThrow(RangeError);
  });
});

describe('what is planted in it', () => {
  it('enlarges the lengths of one clinic and no angle, so that natural sizes are those of the others', () => {
    const startSizes = (letter: string, code: string, natural: boolean): number[] =>
      treated.flatMap((history) => {
        const start = visitOfKind(history, 'start');
        if (start === undefined || !history.patient.code.startsWith(letter)) return [];
        const value = natural ? visitValue(start, code)?.value : measuredMean(start, code)?.measured;
        return value === undefined ? [] : [value];
      });
    const meanOf = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;
    const ratio = (code: string, natural: boolean): number =>
      meanOf(startSizes('B', code, natural)) / meanOf(startSizes('A', code, natural));
    /* SD of Co-Gn about 5 % of its mean among about 1,000 and 1,350 children: standard error 0.2 %. */
    expect(Math.abs(ratio('Co-Gn', true) - 1)).toBeLessThan(0.007);
    expect(Math.abs(ratio('Co-Gn', false) * 0.912 - 1)).toBeLessThan(0.007);
    expect(Math.abs(ratio('SNB', false) - 1)).toBeLessThan(0.007);
  });

  it('comes with a growth table whose means lie about the planted growth as its SDs and numbers say', () => {
    const squares = Array.from({ length: 40 }, (_, seed) => generateDemo({ seed, patients: 1 })).flatMap(
      ({ tables }) =>
        tables.flatMap(({ rows, filmFactor }) =>
          rows.map(({ sex, ageYears, mean, sd, n }) => {
            const planted = (sex === 'female' ? 102.6 : 104.4) + growthSince8(sex, ageYears ?? NaN);
            return ((filmFactor * mean - planted) / ((filmFactor * (sd ?? NaN)) / Math.sqrt(n ?? NaN))) ** 2;
          }),
        ),
    );
    /* Mean of 880 squared standard normal deviates: standard error 0.048. */
    expect(Math.abs(squares.reduce((a, b) => a + b, 0) / squares.length - 1)).toBeLessThan(0.16);
  });

  it('has a radiograph taken again at one visit in twenty-five', () => {
    const withFilm = large.study
      .flatMap(({ visits }) => visits)
      .filter(({ filmFactor }) => filmFactor !== null);
    const again = withFilm.filter(({ measurements }) => measurements.some(({ film }) => film === 2)).length;
    /* About 20,000 visits: standard error 0.14 %. */
    expect(Math.abs(again / withFilm.length - 0.04)).toBeLessThan(0.005);
  });

  it('has the method error that duplicates and second films show', () => {
    for (const measure of DEMO_MEASURES) {
      const { pairs, films } = repeatedReadings(large.study, measure);
      /* Rounding to 0.1 adds a variance of 0.1^2 / 12. Some 2,000 pairs: standard error 1.6 % of the SD. */
      const rounding = 0.1 / Math.sqrt(12);
      const read = duplicateError(pairs)?.dahlberg ?? 0;
      expect(Math.abs(read / Math.hypot(retracingSd(measure), rounding) - 1)).toBeLessThan(0.07);
      const components = filmErrorComponents(films);
      if (isRefusal(components)) throw new Error(`${measure}: ${components.message}`);
      /* Some 700 second films: standard error 3 % of the SD. */
      const whole = Math.hypot(errorSd(measure), rounding);
      expect(Math.abs(components.whole.sd / whole - 1)).toBeLessThan(0.12);
    }
  });

  it('lets readings of overjet, molar relation and ANB agree with the readings they are made of', () => {
    for (const { visits } of treated.slice(0, 200)) {
      for (const visit of visits) {
        for (const [whole, upper, lower] of [
          ['overjet', 'is-OLp', 'ii-OLp'],
          ['molar', 'ms-OLp', 'mi-OLp'],
          ['ANB', 'SNA', 'SNB'],
        ] as const) {
          const [value, a, b] = [whole, upper, lower].map((code) => firstReading(visit, code));
          if (value === undefined || a === undefined || b === undefined) continue;
          /* Three values rounded to 0.1 as measured differ by 0.15 at most. */
          expect(Math.abs(value - (a - b))).toBeLessThan(0.15 + 1e-9);
        }
      }
    }
  });

  it('retains the planted share of the gain', () => {
    for (const { year, share } of large.truth.expected.overall.retained) {
      const departures = treated.flatMap((history) => departuresFromShare(history, year, share));
      const mean = departures.reduce((sum, value) => sum + value, 0) / departures.length;
      const variance = departures.reduce((sum, value) => sum + (value - mean) ** 2, 0) / departures.length;
      expect(departures.length).toBeGreaterThan(300);
      /* Six yearly means at once: 3.3 standard errors keep the chance of any false alarm below 1 %. */
      expect(Math.abs(mean)).toBeLessThan(3.3 * Math.sqrt(variance / departures.length));
    }
  });

  it('makes the planted mean gain of active treatment', () => {
    const gains = large.truth.patients.flatMap(({ gainAtEnd }) => (gainAtEnd === null ? [] : [gainAtEnd]));
    const mean = gains.reduce((sum, gain) => sum + gain, 0) / gains.length;
    /* SD of the gain about 2.2 mm, so a standard error of 0.04. */
    expect(Math.abs(mean - large.truth.expected.overall.meanGainAtEnd)).toBeLessThan(0.13);
  });

  it('loses the planted share of gains, followed one by one', () => {
    const followed = large.truth.patients.filter(({ gainAtEnd }) => gainAtEnd !== null && gainAtEnd > 0);
    for (const { year, survival } of large.truth.expected.overall.survival.gainOfTreatment) {
      const held = followed.filter(({ lossYears }) => lossYears === null || lossYears > year).length;
      const standardError = Math.sqrt((survival * (1 - survival)) / followed.length);
      expect(Math.abs(held / followed.length - survival)).toBeLessThan(3.3 * standardError);
    }
  });
});

/** A(t) - share * A(0) as measured, adjusted by the planted mean curve; none where a value is missing. */
function departuresFromShare(history: PatientHistory, year: number, share: number): number[] {
  const { patient, visits, events } = history;
  if (events.some(({ event }) => event === 'treated_again')) return [];
  const size = (visit: Visit | undefined): number => {
    const value = visit === undefined ? undefined : firstReading(visit, 'Co-Gn');
    const age = visit === undefined ? null : ageAtVisit(patient, visit);
    return value === undefined || age === null ? NaN : value - growthSince8(patient.sex, age);
  };
  const start = size(visitOfKind(history, 'start'));
  const atEnd = size(visitOfKind(history, 'end_of_active')) - start;
  const now = visits.find(
    (visit) => visit.kind === 'follow_up' && Math.round(yearsSinceActiveEnd(history, visit) ?? NaN) === year,
  );
  const departure = size(now) - start - share * atEnd;
  return Number.isNaN(departure) ? [] : [departure];
}

function firstReading(visit: Visit, code: string): number | undefined {
  const reading = visit.measurements.find(
    ({ measure, replicate, examiner, film }) =>
      measure === code && replicate === 1 && examiner === 'E1' && film === 1,
  );
  return reading === undefined ? undefined : (naturalSize(visit, reading) ?? undefined);
}

import { describe, expect, it } from 'vitest';
import { patientHistorySchema, type PatientHistory } from '../records';
import { absentFor, returnAfterAbsence } from './return-after-absence';

const TODAY = '2026-01-01';

/** A treated patient whose active treatment ended on a day, with follow-up visits. */
function patient(code: string, activeEnd: string, ...visits: readonly string[]): PatientHistory {
  return patientHistorySchema.parse({
    patient: {
      code,
      sex: 'female',
      birthDate: '2004-01-01',
      group: 'treated',
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: visits.map((date) => ({
      kind: 'follow_up',
      date,
      ageYears: null,
      filmFactor: null,
      measurements: [],
    })),
    events: [],
  });
}

/** So many patients who were away for just over two years, or stay away to this day. */
const back = (n: number): PatientHistory[] =>
  Array.from({ length: n }, (_, i) => patient(`B${i}`, '2018-01-01', '2020-02-01', '2020-09-01'));
const gone = (n: number): PatientHistory[] =>
  Array.from({ length: n }, (_, i) => patient(`G${i}`, '2018-01-01'));

describe('coming back after a long absence', () => {
  it('is as likely as it was after the absences of that length in the records', () => {
    const chance = returnAfterAbsence([...back(5), ...gone(15)], TODAY);
    // After two years away, 5 of the 20 come within the third year; they are later away for five years themselves.
    expect(chance(2)).toBeCloseTo(5 / 25, 12);
    expect(chance(3.1)).toBe(0);
  });

  it('is not told by absences whose further year is not over', () => {
    const late = Array.from({ length: 30 }, (_, i) => patient(`L${i}`, '2023-06-01'));
    expect(returnAfterAbsence(late, TODAY)(2)).toBeNull();
    expect(returnAfterAbsence([...back(5), ...gone(15), ...late], TODAY)(2)).toBeCloseTo(5 / 25, 12);
  });

  it('is not told by those who came back within a year that is not over', () => {
    // All were last seen two and a half years ago; ten have come since.
    const away = Array.from({ length: 100 }, (_, i) =>
      patient(`O${i}`, '2023-07-01', ...(i < 10 ? ['2025-09-01'] : [])),
    );
    expect(returnAfterAbsence(away, TODAY)(2)).toBeNull();
  });

  it('is the planted chance, whenever the absences began', () => {
    // One of five comes back after two and a half years; the absences began in each month of four years.
    const planted = Array.from({ length: 240 }, (_, i) => {
      const month = String(Math.floor((i % 60) / 5) + 1).padStart(2, '0');
      const begun = 2021 + Math.floor(i / 60);
      const later = Number(month) > 6 ? begun + 3 : begun + 2;
      const back = `${later}-${String(((Number(month) + 5) % 12) + 1).padStart(2, '0')}-01`;
      return patient(`P${i}`, `${begun}-${month}-01`, ...(i % 5 === 0 && back <= TODAY ? [back] : []));
    });
    expect(returnAfterAbsence(planted, TODAY)(2)).toBeCloseTo(1 / 5, 12);
  });

  it('cannot be told from fewer than ten absences', () => {
    expect(returnAfterAbsence(gone(9), TODAY)(2)).toBeNull();
    expect(returnAfterAbsence(gone(10), TODAY)(2)).toBe(0);
    expect(returnAfterAbsence(gone(10), TODAY)(7.5)).toBeNull();
  });

  it('reckons an absence from the last visit up to the day of the question', () => {
    expect(absentFor(patient('A', '2018-01-01', '2024-01-01', '2026-06-01'), TODAY)).toBeCloseTo(2, 2);
    expect(absentFor(patient('A', '2018-01-01'), TODAY)).toBeCloseTo(8, 2);
  });
});

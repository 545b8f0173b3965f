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

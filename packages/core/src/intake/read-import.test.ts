import { describe, expect, it } from 'vitest';
import { patientHistorySchema } from '../records/history';
import {
  EXAMPLE,
  EVENTS,
  MEASUREMENTS,
  PATIENTS,
  placesOf,
  studyOf,
  text,
  withRows,
} from './example.fixture';

const NOTHING = { patients: null, measurements: null, events: null };
const expected = studyOf(EXAMPLE);

describe('files that are right', () => {
  it('become one history for each patient, with visits put together from their rows', () => {
    expect(expected.map(({ patient }) => patient.code)).toEqual(['A01', 'U01', 'S01']);
    expect(expected[0]).toEqual({
      patient: {
        code: 'A01',
        sex: 'female',
        birthDate: '2004-03-10',
        group: 'treated',
        protocol: 'PLATE',
        expansion: true,
        maturityStart: 'CS3',
        treatmentStart: '2015-04-01',
        activeEnd: '2016-05-20',
        consentFollowUp: true,
        consentPooling: false,
      },
      visits: [
        {
          kind: 'start',
          date: '2015-03-20',
          ageYears: null,
          filmFactor: null,
          filmFactorEvidence: null,
          measurements: [
            { measure: 'Co-Gn', value: 98.5, unit: 'mm', replicate: 1, examiner: 'ex1', film: 1 },
            { measure: 'Co-Gn', value: 98.9, unit: 'mm', replicate: 2, examiner: 'ex1', film: 1 },
          ],
        },
        {
          kind: 'end_of_active',
          date: '2016-06-01',
          ageYears: null,
          filmFactor: null,
          filmFactorEvidence: null,
          measurements: [
            { measure: 'Co-Gn', value: 106.25, unit: 'mm', replicate: 1, examiner: 'ex1', film: 1 },
          ],
        },
        {
          kind: 'follow_up',
          date: '2018-06-10',
          ageYears: null,
          filmFactor: null,
          filmFactorEvidence: null,
          measurements: [{ measure: 'Co-Gn', value: 110, unit: 'mm', replicate: 1, examiner: '', film: 1 }],
        },
      ],
      events: [{ date: '2019-01-15', event: 'moved' }],
    });
  });

  it('give histories that the schema of the records accepts, with the unit of the catalogue', () => {
    for (const history of expected) expect(patientHistorySchema.safeParse(history).success).toBe(true);
    expect(expected[2]?.visits[0]?.measurements[0]?.unit).toBe('deg');
  });

  it('are read the same with semicolons, with a byte order mark, with other line ends and with blank lines', () => {
    const change = (edit: (file: string) => string) => ({
      patients: edit(EXAMPLE.patients ?? ''),
      measurements: edit(EXAMPLE.measurements ?? ''),
      events: edit(EXAMPLE.events ?? ''),
    });
    expect(studyOf(change((file) => file.replaceAll(',', ';')))).toEqual(expected);
    expect(studyOf(change((file) => `\uFEFF${file}`))).toEqual(expected);
    expect(studyOf(change((file) => file.replaceAll('\n', '\r\n')))).toEqual(expected);
    expect(studyOf(change((file) => file.replaceAll('\n', '\r')))).toEqual(expected);
    expect(studyOf(change((file) => `\n${file.replaceAll('\n', '\n\n  \n')}`))).toEqual(expected);
    expect(studyOf(change((file) => file.trimEnd()))).toEqual(expected);
  });

  // RFC 4180, section 2, rules 5 to 7: quoted cells, separators inside them, doubled quotation marks.
  it('may have quoted cells', () => {
    const quoted = (EXAMPLE.measurements ?? '').replace(/[^,\n]+/g, '"$&"');
    expect(studyOf({ ...EXAMPLE, measurements: quoted })).toEqual(expected);
    expect(
      placesOf(withRows('measurements', { 2: 'A01,start,2015-03-20,,Co-Gn,98.5,1,"a ""b"", c"' })),
    ).toEqual(['wrong-form measurements.csv:2:examiner=a "b", c']);
  });

  it('may have their columns in any order', () => {
    const turned = EVENTS.map((line) => line.split(',').reverse().join(','));
    expect(studyOf({ ...EXAMPLE, events: text(turned) })).toEqual(expected);
  });

  it('may leave out one of visit_date and age_years as a column', () => {
    const patients = text(PATIENTS.filter((line) => !/^[AU]/.test(line)));
    const lines = MEASUREMENTS.filter((line) => /^(patient|S)/.test(line));
    const agesOnly = lines.map((line) =>
      line
        .split(',')
        .filter((_, index) => index !== 2)
        .join(','),
    );
    expect(studyOf({ ...NOTHING, patients, measurements: text(agesOnly) })).toEqual([expected[2]]);
  });

  it('may hold headers only', () => {
    const patients = text(PATIENTS.slice(0, 1));
    expect(studyOf({ ...NOTHING, patients, events: text(EVENTS.slice(0, 1)) })).toEqual([]);
  });

  it('may speak of patients that are in the store already', () => {
    const events = text([...EVENTS.slice(0, 1), 'U01,2015-02-03,withdrew']);
    const [history, ...others] = studyOf({ ...NOTHING, events }, expected);
    expect(others).toEqual([]);
    expect(history).toEqual({
      patient: expected[1]?.patient,
      visits: [],
      events: [{ date: '2015-02-03', event: 'withdrew' }],
    });
  });

  it('may fill in the age of a visit in any of its rows', () => {
    const both = withRows('measurements', { 3: 'A01,start,2015-03-20,11.03,Co-Gn,98.9,2,ex1' });
    expect(studyOf(both)[0]?.visits[0]).toMatchObject({ date: '2015-03-20', ageYears: 11.03 });
  });

  it('may have a treated patient still in active treatment, with a start visit only', () => {
    const patients = text([
      PATIENTS[0] ?? '',
      'A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,,yes,no',
    ]);
    const measurements = text(MEASUREMENTS.slice(0, 3));
    expect(studyOf({ ...NOTHING, patients, measurements })[0]?.patient.activeEnd).toBeNull();
  });
});

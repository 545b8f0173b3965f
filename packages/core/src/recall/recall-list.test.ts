import { describe, expect, it } from 'vitest';
import { patientHistorySchema, type PatientHistory } from '../records';
import { recallList, recallSettingsSchema } from './recall-list';

const SETTINGS = recallSettingsSchema.parse({});

function patient(followUps: string[], events: PatientHistory['events'] = [], consent = true): PatientHistory {
  return patientHistorySchema.parse({
    patient: {
      code: 'P-1',
      sex: 'female',
      birthDate: '2008-01-01',
      group: 'treated',
      protocol: 'A',
      expansion: false,
      maturityStart: null,
      treatmentStart: '2019-09-01',
      activeEnd: '2020-06-15',
      consentFollowUp: consent,
      consentPooling: false,
    },
    visits: followUps.map((date) => ({
      kind: 'follow_up',
      date,
      ageYears: null,
      filmFactor: null,
      filmFactorEvidence: null,
      measurements: [],
    })),
    events,
  });
}

const rowOn = (asOf: string, history: PatientHistory) => recallList([history], asOf, SETTINGS).rows[0];

describe('the recall list', () => {
  it('awaits the first anniversary of a patient who was never seen', () => {
    expect(rowOn('2021-06-01', patient([]))).toMatchObject({
      state: 'due',
      dueYear: 1,
      dueDate: '2021-06-15',
    });
  });

  it.each([
    ['2021-03-01', 'upcoming'],
    ['2021-03-16', 'due'],
    ['2021-09-14', 'due'],
    ['2021-09-15', 'overdue'],
    ['2022-12-15', 'overdue'],
    ['2022-12-16', 'lost'],
  ])('on %s calls a patient who was never seen %s', (asOf, state) => {
    expect(rowOn(asOf, patient([]))?.state).toBe(state);
  });

  it('counts a late visit for the anniversary nearest to it and awaits the next one', () => {
    expect(rowOn('2021-12-01', patient(['2021-10-20']))).toMatchObject({ dueYear: 2, state: 'upcoming' });
  });

  it('says for how many months a patient is late', () => {
    expect(rowOn('2021-12-15', patient([]))?.monthsLate).toBeCloseTo(3, 1);
  });

  it('stops for a patient without consent and says so', () => {
    expect(rowOn('2021-06-15', patient([], [], false))).toMatchObject({
      state: 'stopped',
      why: 'no consent for follow-up',
    });
  });

  it('stops for one who moved away, until a later visit shows otherwise', () => {
    const moved = [{ date: '2021-01-01', event: 'moved' as const }];
    expect(rowOn('2021-06-15', patient([], moved))?.state).toBe('stopped');
    expect(rowOn('2022-06-15', patient(['2021-06-20'], moved))?.state).toBe('due');
  });

  it('stays stopped for one who withdrew, whatever follows', () => {
    const withdrew = [{ date: '2021-01-01', event: 'withdrew' as const }];
    expect(rowOn('2022-06-15', patient(['2021-06-20'], withdrew))?.state).toBe('stopped');
  });

  it('is complete once the last scheduled year has been seen', () => {
    expect(rowOn('2031-01-01', patient(['2030-06-20']))).toMatchObject({ state: 'complete', dueDate: null });
  });

  it('knows nothing of what lies after its day', () => {
    expect(rowOn('2021-06-15', patient(['2022-06-20']))).toMatchObject({ lastVisit: null, dueYear: 1 });
  });
});

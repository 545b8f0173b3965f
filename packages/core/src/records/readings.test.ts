import { describe, expect, it } from 'vitest';
import { MEASURES } from '../measures/catalogue';
import { agedValues, lacksFilmFactor, visitValue, withFilmFactor } from './readings';
import { patientHistorySchema, type PatientHistory } from './history';

/** An untreated child of 12 with one visit: a length, an angle and an overjet read at the chair. */
function child(filmFactor: number | null): PatientHistory {
  const reading = (measure: string, value: number, unit: string, rest: object = {}) => ({
    measure,
    value,
    unit,
    replicate: 1,
    examiner: '',
    ...rest,
  });
  return patientHistorySchema.parse({
    patient: {
      code: 'U-1',
      sex: 'female',
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
        filmFactor,
        measurements: [
          reading('Co-Gn', 120, 'mm'),
          reading('Co-Gn', 121, 'mm', { replicate: 2 }),
          reading('Co-Gn', 122, 'mm', { film: 2 }),
          reading('SNB', 78, 'deg'),
          reading('overjet', 7, 'mm'),
        ],
      },
    ],
    events: [],
  });
}

function valueOf(filmFactor: number | null, measure: string) {
  const [visit] = child(filmFactor).visits;
  return visit === undefined ? undefined : visitValue(visit, measure);
}

describe('the value of a measure at a visit', () => {
  // 1550 mm from focus to midplane and 150 mm from there to the detector: 1550 / 1700.
  // Film 1 was read as 120 and 121, film 2 as 122: (120.5 + 122) / 2.
  it('is a length at natural size, the mean of the films times their factor, each the mean of its readings', () => {
    expect(valueOf(1550 / 1700, 'Co-Gn')?.value).toBeCloseTo((121.25 * 1550) / 1700, 10);
    expect(valueOf(0.912, 'Co-Gn')).toMatchObject({ measured: 121.25, filmFactor: 0.912, readings: 3 });
  });

  it('says how many films and readings are behind it, and what of the error of one reading they leave', () => {
    // Var of (mean of two + one) / 2 from retracing alone: (1/2 + 1) / 4 of that of one reading.
    expect(valueOf(1, 'Co-Gn')).toMatchObject({ readings: 3, films: 2, retracingShare: 0.375 });
    expect(valueOf(1, 'SNB')).toMatchObject({ readings: 1, films: 1, retracingShare: 1 });
  });

  it('is an angle, or an overjet read at the chair, as measured whatever the films', () => {
    for (const factor of [null, 1, 0.912]) {
      expect(valueOf(factor, 'SNB')).toMatchObject({ value: 78, measured: 78, filmFactor: null });
      expect(valueOf(factor, 'overjet')?.value).toBe(7);
    }
  });

  it('is missing for a length on films of unknown enlargement, which is told from a length not taken', () => {
    const history = child(null);
    const [visit] = history.visits;
    if (visit === undefined) throw new Error('the child has a visit');
    expect(visitValue(visit, 'Co-Gn')).toBeNull();
    expect(agedValues(history, 'Co-Gn')).toEqual([]);
    expect(lacksFilmFactor(visit, 'Co-Gn')).toBe(true);
    expect(lacksFilmFactor(visit, 'Co-Go')).toBe(false);
    expect(lacksFilmFactor(visit, 'SNB')).toBe(false);
  });
});

describe('a factor for films that carry none', () => {
  it('is used for those and for no others', () => {
    const [without, own] = withFilmFactor([child(null), child(0.886)], 0.943);
    expect(without?.visits[0]?.filmFactor).toBe(0.943);
    expect(own?.visits[0]?.filmFactor).toBe(0.886);
    const study = [child(null)];
    expect(withFilmFactor(study, null)).toBe(study);
  });
});

describe('the catalogue', () => {
  it('calls a measure enlarged when it is a length on a film: no angle, and nothing read at the chair', () => {
    const enlarged = MEASURES.filter((measure) => measure.enlarged).map(({ code }) => code);
    expect(enlarged).toContain('Co-Gn');
    expect(enlarged).toContain('Wits');
    expect(enlarged).toContain('ANS-Me');
    expect(enlarged).toContain('pg-OLp');
    for (const code of ['SNA', 'SNB', 'ANB', 'FMA', 'IMPA', 'overjet', 'overbite', 'molar']) {
      expect(enlarged).not.toContain(code);
    }
  });
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import type { PatientHistory, Visit } from '../records';
import { gaveWay } from './gave-way';
import { gaveWaySentence, splitLeftOutText } from './gave-way-words';
import { answerOutcome } from './answer-outcome';
import { welchDifference } from './welch-difference';

const demo = generateDemo({ seed: 7, patients: 60 });
const treated = demo.study.filter(({ patient }) => patient.group === 'treated');
const untreated = demo.study.filter(({ patient }) => patient.group === 'untreated');
const whole = gaveWay(treated, untreated, 0.95);
const duringTreatment = whole.overjet[0];

function codesOf(reason: string, answer = whole): readonly string[] {
  return answer.overjet[0]?.leftOut.find((one) => one.reason === reason)?.codes ?? [];
}

/** Every patient, the start record of one changed. */
function withStart(code: string, change: (visit: Visit) => Visit): PatientHistory[] {
  return treated.map((history) =>
    history.patient.code === code
      ? {
          ...history,
          visits: history.visits.map((visit) => (visit.kind === 'start' ? change(visit) : visit)),
        }
      : history,
  );
}

/** A patient in whom overjet can be split during treatment. */
const inIt = treated.find(
  ({ patient, visits }) =>
    visits.some(({ kind }) => kind === 'start') &&
    visits.some(({ kind }) => kind === 'end_of_active') &&
    !(duringTreatment?.leftOut ?? []).some(({ codes }) => codes.includes(patient.code)),
)?.patient.code;

describe('who is not in a split', () => {
  it('is everybody who is neither in it nor without both records', () => {
    for (const { n, leftOut, withoutRecords } of [...whole.overjet, ...whole.molar, ...whole.chin]) {
      const codes = leftOut.flatMap((one) => one.codes);
      expect(n + codes.length + withoutRecords).toBe(treated.length);
      expect(new Set(codes).size).toBe(codes.length);
    }
  });

  it('says of a film whose factor is not known that the factor is missing, not that points are', () => {
    const code = inIt ?? '';
    const study = withStart(code, (visit) => ({ ...visit, filmFactor: null, filmFactorEvidence: null }));
    const answer = gaveWay(study, untreated, 0.95);
    expect(codesOf('film-factor-unknown', answer)).toContain(code);
    expect(codesOf('points-missing', answer)).toEqual(codesOf('points-missing'));
    expect(answer.overjet[0]?.n).toBe((duringTreatment?.n ?? NaN) - 1);
    const text = answer.overjet[0] === undefined ? null : splitLeftOutText(answer.overjet[0]);
    expect(text).toContain('the factor of their films is not known');
  });

  it('says of a point that was not read that it is missing, also where the factor is not known either', () => {
    const code = inIt ?? '';
    const study = withStart(code, (visit) => ({
      ...visit,
      filmFactor: null,
      filmFactorEvidence: null,
      measurements: visit.measurements.filter(({ measure }) => measure !== 'is-OLp'),
    }));
    expect(codesOf('points-missing', gaveWay(study, untreated, 0.95))).toContain(code);
  });

  it('is named where no film has a factor', () => {
    const study = demo.study.map((history) => ({
      ...history,
      visits: history.visits.map((visit) => ({ ...visit, filmFactor: null, filmFactorEvidence: null })),
    }));
    const answer = answerOutcome(study, { asOf: demo.today, resamples: 50 });
    expect(gaveWaySentence(answer)).toContain('the factor of their films is not known');
  });
});

describe('the difference from untreated children', () => {
  it('is that of the two means, and none without five of them', () => {
    const part = duringTreatment?.parts[1];
    expect(part?.beyondUntreated?.estimate).toBeCloseTo(
      (part?.mean ?? NaN) - (part?.untreated?.mean ?? NaN),
      12,
    );
    const alone = gaveWay(treated, untreated.slice(0, 3), 0.95).overjet[0]?.whole;
    expect(alone?.untreated).toBeNull();
    expect(alone?.beyondUntreated).toBeNull();
  });

  // R 4: t.test(c(4.1, 5.2, 3.7, 6.0, 4.4, 5.1), c(0.4, -0.3, 1.1, 0.2, 0.9, 0.1, 0.5))
  it("has the limits that R's t.test gives two groups of unlike spread", () => {
    const found = welchDifference([4.1, 5.2, 3.7, 6, 4.4, 5.1], [0.4, -0.3, 1.1, 0.2, 0.9, 0.1, 0.5], 0.95);
    expect(found?.estimate).toBeCloseTo(4.75 - 0.414285714286, 11);
    expect(found?.limits.lower).toBeCloseTo(3.43439207831, 10);
    expect(found?.limits.upper).toBeCloseTo(5.23703649312, 10);
  });
});

import { describe, it } from 'vitest';
import type { PatientHistory, Study } from '@longhold/core/records';
import { chosenFit, expectReferenceOfR, referenceOf } from './growth-expectations';
import { growthFixture } from './growth-fixture';

// Source: r/growth.R. Invented from a seed: 60 children of both sexes, two to eight visits each at odd ages.
const { child, sex, age, value } = growthFixture.series.unbalanced;

function history(code: string): PatientHistory {
  const visits = child.flatMap((one, i) => (one === code ? [i] : []));
  return {
    patient: {
      code,
      sex: sex[visits[0] ?? 0] ?? 'female',
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
    visits: visits.map((i) => ({
      kind: 'follow_up',
      date: null,
      ageYears: age[i] ?? NaN,
      filmFactor: 1,
      filmFactorEvidence: null,
      measurements: [
        { measure: 'Co-Gn', value: value[i] ?? NaN, unit: 'mm', replicate: 1, examiner: '', film: 1 },
      ],
    })),
    events: [],
  };
}

describe('an unbalanced series of both sexes', () => {
  it("carries the bent growth curve that Akaike's criterion and R's mixed model give", () => {
    const study: Study = [...new Set(child)].map(history);
    expectReferenceOfR(referenceOf(study, 'Co-Gn'), chosenFit('unbalanced'));
  });
});

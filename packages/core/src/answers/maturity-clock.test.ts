import { describe, expect, it } from 'vitest';
import { maturityShift, peakAge, STAGE_CLOCK_SD } from '../growth';
import { createRandom } from '../numeric';
import { patientHistorySchema, type PatientHistory } from '../records';
import { answerOutcome } from './answer-outcome';
import { prepareQuestion } from './prepared-question';

/** Size of an invented boy, whose growth is fastest at `peak` years. */
const size = (age: number, peak: number): number =>
  100 + 1.5 * (age - 8) + 6 / (1 + Math.exp(-(age - peak) / 0.6));

function child(
  code: string,
  group: 'treated' | 'untreated',
  peak: number,
  ages: readonly number[],
  gain: number,
): PatientHistory {
  const random = createRandom(Number(code.slice(1)) + 1);
  const kinds = group === 'untreated' ? [] : (['start', 'end_of_active'] as const);
  return patientHistorySchema.parse({
    patient: {
      code,
      sex: 'male',
      birthDate: null,
      group,
      protocol: null,
      expansion: null,
      maturityStart: group === 'treated' ? 'CS2' : null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: ages.map((ageYears, i) => ({
      kind: kinds[i] ?? 'follow_up',
      date: null,
      ageYears,
      filmFactor: 1,
      measurements: [
        {
          measure: 'Co-Gn',
          value: size(ageYears, peak) + (i > 0 ? gain : 0) + 0.3 * random.normal(),
          unit: 'mm',
          replicate: 1,
          examiner: '',
        },
      ],
    })),
    events: [],
  });
}

/** Untreated boys peak at 14. The treated ones peak two years early, are at CS2 a year before their peak, and gain 3 mm. */
const study = [
  ...Array.from({ length: 40 }, (_, i) =>
    child(`U${i}`, 'untreated', 14, [8, 9.5, 11, 12, 13, 13.5, 14, 14.5, 15, 16, 17, 18], 0),
  ),
  ...Array.from({ length: 30 }, (_, i) => child(`T${i}`, 'treated', 12, [11, 12, 13, 14, 15], 3)),
];

describe('growth read by stage of maturity', () => {
  const { reference } = prepareQuestion(study, {});

  it('finds the peak of the curve within its ages', () => {
    expect(peakAge(reference, 'male')).toBeGreaterThan(13.4);
    expect(peakAge(reference, 'male')).toBeLessThan(14.6);
    expect(peakAge(reference, 'female')).toBeNull();
  });

  it('places CS1 to CS4 around the peak and nobody by CS5 or CS6', () => {
    const peak = peakAge(reference, 'male') ?? NaN;
    expect(maturityShift(reference, 'male', 'CS2', 11)).toEqual({ years: peak - 1 - 11, sd: STAGE_CLOCK_SD });
    expect(maturityShift(reference, 'male', 'CS6', 16)).toBeNull();
  });

  it('takes early maturers for what they are, where their age misleads', () => {
    const by = (growthClock: 'age' | 'maturity') => answerOutcome(study, { growthClock, resamples: 50 });
    expect(Math.abs((by('maturity').gain?.mean ?? NaN) - 3)).toBeLessThan(0.5);
    expect(Math.abs((by('age').gain?.mean ?? NaN) - 3)).toBeGreaterThan(0.8);
  });

  it("puts the doubt of the stage into one patient's interval, and says so", () => {
    const [byAge, byStage] = (['age', 'maturity'] as const).map((growthClock) =>
      answerOutcome(study, { growthClock, resamples: 50 }),
    );
    expect(byStage?.patients[0]?.gain?.growthSd).toBeGreaterThan(byAge?.patients[0]?.gain?.growthSd ?? NaN);
    expect(byStage?.warnings.map(({ code }) => code)).toContain('stage-clock');
  });
});

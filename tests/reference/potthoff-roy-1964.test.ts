import { describe, expect, it } from 'vitest';
import { answerOutcome } from '@longhold/core/answers';
import { mergeStudy } from '@longhold/core/intake';
import { mean } from '@longhold/core/numeric';
import { expectClose, expectWithin } from './closeness';
import { chosenFit, expectReferenceOfR, referenceOf } from './growth-expectations';
import { growthFixture } from './growth-fixture';
import { importPublished, meansByAge, slopesByChild } from './published-series';
import { CLOSED_FORM, printed } from './tolerances';

// Potthoff and Roy, Biometrika 1964;51:313-326: 11 girls and 16 boys at 8, 10, 12 and 14 years (nlme::Orthodont).
const study = importPublished('potthoff-roy-1964');
const MEASURE = 'S-Ptm';
const { plain } = growthFixture;

// Published means, mm, by age.
const GIRLS = [21.18, 22.23, 23.09, 24.09];
const BOYS = [22.88, 23.81, 25.72, 27.47];

describe('27 children followed from 8 to 14 years (Potthoff and Roy 1964), through the real import', () => {
  it('all arrive, and importing them twice changes nothing', () => {
    expect(study.filter(({ patient }) => patient.sex === 'female')).toHaveLength(11);
    expect(study.filter(({ patient }) => patient.sex === 'male')).toHaveLength(16);
    expect(study.flatMap(({ visits }) => visits)).toHaveLength(108);
    const again = mergeStudy(study, importPublished('potthoff-roy-1964'));
    expect(again.touched).toEqual([]);
    expect(again.conflicts).toEqual([]);
  });

  it.each([
    ['female', GIRLS],
    ['male', BOYS],
  ] as const)('have the published means: %s', (sex, published) => {
    const means = meansByAge(study, sex, MEASURE);
    expect(means.map(([age]) => age)).toEqual([8, 10, 12, 14]);
    means.forEach(([age, value], i) => {
      // 22.875 is printed as 22.88: exactly half a unit away.
      expectWithin(value, published[i] ?? NaN, printed(2), `${sex} at ${age}`);
      const r = plain.orthodont.meansBySex[sex].means[i] ?? NaN;
      expectClose(value, r, CLOSED_FORM, `${sex} at ${age}, against R`);
    });
  });

  it('grow by 0.480 mm a year (girls) and 0.784 mm a year (boys)', () => {
    for (const [sex, published] of [
      ['female', 0.48],
      ['male', 0.784],
    ] as const) {
      const slopes = slopesByChild(study, sex, MEASURE);
      expectWithin(mean(slopes), published, printed(3), `mean slope, ${sex}`);
      expectClose(mean(slopes), plain.orthodont[sex].mean, CLOSED_FORM, `mean slope against R, ${sex}`);
    }
  });

  it("carry the growth reference that R's mixed model gives", () => {
    expectReferenceOfR(referenceOf(study, MEASURE), chosenFit('orthodont'));
  });

  it('stay in the reference when an answer is asked for as of a day, although they have no dates', () => {
    const answer = answerOutcome(study, { measure: MEASURE, asOf: '2024-06-30' });
    expect(answer.untreated).toBe(27);
    expect(answer.reference).toMatchObject({
      kind: 'untreated-series',
      series: [
        { sex: 'female', children: 11, measurements: 44, ages: [8, 14] },
        { sex: 'male', children: 16, measurements: 64, ages: [8, 14] },
      ],
    });
  });
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { restrictedMeanBounds, turnbull } from '../survival';
import { answerOutcome } from './answer-outcome';

const demo = generateDemo({ seed: 7, patients: 200 });
const answer = answerOutcome(demo.study, { asOf: demo.today, groupBy: 'sex', resamples: 200 });
const groups = answer.groups?.groups ?? [];

describe('mean years with the gain in groups', () => {
  it('are the area under the curve of each group, to the same year in all', () => {
    expect(groups.length).toBe(2);
    const until = new Set(groups.map(({ restrictedMean }) => restrictedMean?.until));
    expect(until.size).toBe(1);
    for (const { label, restrictedMean } of groups) {
      const sex = label === 'Girls' ? 'female' : 'male';
      const times = answer.patients.flatMap((one) =>
        one.sex === sex && one.loss !== null ? [one.loss] : [],
      );
      const { mean } = restrictedMeanBounds(turnbull(times), restrictedMean?.until ?? NaN);
      expect(restrictedMean?.estimate).toBeCloseTo(mean, 9);
      expect(restrictedMean?.limits.lower).toBeLessThan(mean);
      expect(restrictedMean?.limits.upper).toBeGreaterThan(mean);
    }
  });

  it('differ by the difference of the means, with limits wider than either mean has and narrower than both together', () => {
    const reference = groups.find(({ label }) => label === answer.groups?.reference)?.restrictedMean;
    const other = groups.find(({ label }) => label !== answer.groups?.reference);
    const [difference] = answer.groups?.meanDifferences ?? [];
    expect(difference?.label).toBe(other?.label);
    expect(difference?.estimate).toBeCloseTo(
      (other?.restrictedMean?.estimate ?? NaN) - (reference?.estimate ?? NaN),
      12,
    );
    const width = (limits: { lower: number; upper: number } | undefined): number =>
      (limits?.upper ?? NaN) - (limits?.lower ?? NaN);
    const own = [width(reference?.limits), width(other?.restrictedMean?.limits)];
    expect(width(difference?.limits)).toBeGreaterThan(Math.max(...own));
    expect(width(difference?.limits)).toBeLessThan((own[0] ?? NaN) + (own[1] ?? NaN));
  });

  it('are not given for a group of which fewer than ten are followed for a year, but for the others', () => {
    const boys = answer.patients
      .filter(({ sex, loss }) => sex === 'male' && loss !== null)
      .map(({ code }) => code);
    const dropped = new Set(boys.slice(0, boys.length - 8));
    const study = demo.study.filter(({ patient }) => !dropped.has(patient.code));
    const { groups: few } = answerOutcome(study, { asOf: demo.today, groupBy: 'sex', resamples: 50 });
    const means = new Map(few?.groups.map(({ label, restrictedMean }) => [label, restrictedMean]));
    expect(means.get('Boys')).toBeNull();
    expect(means.get('Girls')?.estimate).toBeGreaterThan(0);
    expect(few?.meanDifferences).toEqual([]);
  });

  it('are told of with progress that rises through the groups', () => {
    const told: number[] = [];
    answerOutcome(
      demo.study,
      { asOf: demo.today, groupBy: 'sex', resamples: 50 },
      { progress: (fraction, step) => (step === 'Comparing groups' ? told.push(fraction) : 0) },
    );
    expect(told.length).toBeGreaterThan(50);
    expect(told.every((fraction, i) => fraction >= (told[i - 1] ?? 0))).toBe(true);
    expect(Math.max(...told)).toBeGreaterThan(0.9);
  });
});

import { describe, expect, it } from 'vitest';
import { generateDemo } from '@longhold/demo';
import { createRandom, isRefusal } from '../numeric';
import { addInformation, expectedInformation, patientInformation, regressorSums } from '../separation';
import { planning } from './planning';
import { prepareQuestion } from './prepared-question';

const components = { betweenPatients: { lasting: 4, both: -0.1, passing: 0.2 }, residualVariance: 0.5 };
const kinds = [
  [2.8, 2.3, 1.7, 1.1, 0.6],
  [3.2, 3, 2.4, 1.6, 0.9],
];

describe('the information expected of a patient', () => {
  it('is that of the full schedule where nobody stays away', () => {
    const expected = expectedInformation(kinds, { years: 3, dropOut: 0, missed: 0 }, components);
    const full = kinds
      .map((kind) => patientInformation(regressorSums(kind.slice(0, 4)), components))
      .reduce((a, b) => addInformation(a, b));
    expect(expected.lasting).toBeCloseTo(full.lasting / 2, 12);
    expect(expected.both).toBeCloseTo(full.both / 2, 12);
  });

  it('is the mean over patients who stay away by chance, drawn by the hundred thousand', () => {
    const schedule = { years: 4, dropOut: 0.12, missed: 0.2 };
    const random = createRandom(9);
    let sum = { lasting: 0, both: 0, passing: 0 };
    const draws = 100_000;
    for (let i = 0; i < draws; i++) {
      const kind = kinds[i % 2] ?? [];
      const seen = [kind[0] ?? NaN];
      for (let year = 1; year <= 4; year++) {
        if (random.uniform() < schedule.dropOut) break;
        if (random.uniform() >= schedule.missed) seen.push(kind[year] ?? NaN);
      }
      sum = addInformation(sum, patientInformation(regressorSums(seen), components), 1 / draws);
    }
    const expected = expectedInformation(kinds, schedule, components);
    expect(Math.abs(sum.lasting / expected.lasting - 1)).toBeLessThan(0.01);
    expect(Math.abs(sum.passing / expected.passing - 1)).toBeLessThan(0.01);
  });
});

describe('planning', () => {
  const demo = generateDemo({ seed: 7, patients: 120 });
  const prepared = prepareQuestion(demo.study, { asOf: demo.today });

  it('needs fewer patients the longer they are followed, and more where more stay away', () => {
    const plan = planning(prepared, { target: 0.9 });
    const worse = planning(prepared, { target: 0.9, dropOut: 0.3 });
    if (isRefusal(plan) || isRefusal(worse)) throw new Error('refused');
    const needed = plan.rows.map(({ patients }) => patients ?? Infinity);
    needed.slice(1).forEach((n, i) => expect(n).toBeLessThanOrEqual(needed[i] ?? NaN));
    expect(worse.rows[5]?.patients).toBeGreaterThan(plan.rows[5]?.patients ?? NaN);
  });

  it('says that no number of patients passes below what the growth curve leaves in doubt', () => {
    const plan = planning(prepared, { target: 0.01 });
    if (isRefusal(plan)) throw new Error(plan.message);
    expect(plan.floor).toBeGreaterThan(0.01);
    expect(plan.rows.every(({ patients }) => patients === null)).toBe(true);
  });

  it('predicts about the interval that studies of that size do reach', () => {
    const plan = planning(prepared, { dropOut: 0.06, missed: 0.3 });
    if (isRefusal(plan)) throw new Error(plan.message);
    // The demo follows its patients for up to eight years, half of them for less than four.
    const forty = plan.rows[2]?.lasting[3] ?? NaN;
    expect(forty).toBeGreaterThan(plan.present.lasting * 0.6);
    expect(forty).toBeLessThan(plan.present.lasting * 1.8);
  });

  it('is refused where the present study cannot tell the variances', () => {
    const few = prepareQuestion(demo.study.slice(0, 5), { asOf: demo.today, reference: 'built-in-table' });
    expect(isRefusal(planning(few, {}))).toBe(true);
  });
});

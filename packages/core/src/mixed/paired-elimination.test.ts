import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal } from '../numeric';
import { devianceAt, fitMixedModel } from './linear-mixed-model';
import { prepareMixedModel, type MixedModel } from './mixed-model';
import type { MixedData, RandomStructure } from './model-data';
import { criterionOf } from './profiled-deviance';
import { varianceKnowledge } from './satterthwaite';

/**
 * Patients within centres with one to six values. `shift` is added to the second fixed column, which changes neither
 * what the model can describe nor the determinant of its columns, but makes it another column than the patients' own.
 */
function patientsWithin(
  structure: RandomStructure,
  nested: boolean,
  shift: number,
  patients = 1200,
): MixedData {
  const random = createRandom(11);
  const rows: { patient: number; centre: number; x: number; y: number }[] = [];
  for (let patient = 0; patient < patients; patient++) {
    const own = [random.normal(), 0.3 * random.normal()] as const;
    const ofCentre = [0.6, -0.4, 0.1, -0.3][patient % 4] ?? 0;
    for (let visit = 0; visit <= patient % 6; visit++) {
      const x = 3 - 0.5 * visit + 0.1 * random.normal();
      const y = 2 + ofCentre + own[0] + (0.5 + own[1]) * x + 0.4 * random.normal();
      rows.push({ patient, centre: patient % 4, x, y });
    }
  }
  const ones = { name: 'one', values: rows.map(() => 1) };
  const slope = { name: 'x', values: rows.map(({ x }) => x) };
  const moved = { name: 'x', values: rows.map(({ x }) => x + shift) };
  return {
    response: rows.map(({ y }) => y),
    fixed: [ones, shift === 0 ? slope : moved],
    random: {
      factor: 'patient',
      labels: rows.map(({ patient }) => patient),
      columns: [ones, slope],
      structure,
    },
    ...(nested
      ? {
          outer: {
            factor: 'centre',
            labels: rows.map(({ centre }) => centre),
            columns: [slope, ones],
            structure: 'diagonal',
          },
        }
      : {}),
  };
}

function ready(data: MixedData): MixedModel {
  const model = prepareMixedModel(data);
  if (isRefusal(model)) throw new Error(model.message);
  return model;
}

describe.each([
  { structure: 'full', nested: false, factor: [0.9, -0.2, 0.4] },
  { structure: 'full', nested: true, factor: [0.9, -0.2, 0.4] },
  { structure: 'diagonal', nested: true, factor: [0.9, 0.4] },
  { structure: 'diagonal', nested: false, factor: [900, 0] },
] as const)('two random effects whose columns are all columns ($structure, nested $nested)', (one) => {
  const shared = ready(patientsWithin(one.structure, one.nested, 0));
  const apart = ready(patientsWithin(one.structure, one.nested, 7));
  const outer = one.nested ? [0.5, 0.2] : [];

  it('are eliminated by formulas, and one by one where the fixed columns are others', () => {
    expect(shared.products.fromRandom).not.toBeNull();
    expect(apart.products.fromRandom).toBeNull();
    expect(ready(patientsWithin(one.structure, one.nested, 0, 80)).products.fromRandom).toBeNull();
  });

  it.each(['REML', 'ML'] as const)('give the deviance of elimination one by one, %s', (criterion) => {
    const found = devianceAt(shared, criterion, one.factor, outer);
    const expected = devianceAt(apart, criterion, one.factor, outer);
    expect(expected).not.toBeNull();
    expect((found ?? NaN) / (expected ?? NaN)).toBeCloseTo(1, 10);
  });

  it('give the derivatives and the fit of elimination one by one', () => {
    const fits = [shared, apart].map((model) => {
      const fit = fitMixedModel(model);
      if (isRefusal(fit)) throw new Error(fit.message);
      const slope = criterionOf(model, 'REML').slope(
        { random: Float64Array.of(0.8, 0, 0.1, 0.5), outer: Float64Array.of(0.3, 0, 0, 0.2) },
        null,
      );
      return { fit, slope, known: varianceKnowledge(model, fit) };
    });
    const [found, expected] = fits;
    if (found === undefined || expected === undefined) throw new Error('two fits');
    const close = (left: ArrayLike<number> = [], right: ArrayLike<number> = [], digits = 6): void => {
      expect(left.length).toBe(right.length);
      Array.from(left).forEach((entry, i) => expect(entry).toBeCloseTo(right[i] ?? NaN, digits));
    };
    close(found.slope?.slope.random, expected.slope?.slope.random, 8);
    close(found.slope?.slope.outer, expected.slope?.slope.outer, 8);
    close(found.fit.randomCovariance, expected.fit.randomCovariance);
    close(found.fit.outerCovariance, expected.fit.outerCovariance);
    expect(found.fit.logLikelihood).toBeCloseTo(expected.fit.logLikelihood, 8);
    expect(found.fit.coefficients[1]).toBeCloseTo(expected.fit.coefficients[1] ?? NaN, 7);
    close(found.known?.covariance, expected.known?.covariance, 4);
  });
});

import { describe, expect, it } from 'vitest';
import {
  fitMixedModel,
  fixedEffects,
  prepareMixedModel,
  profileVarianceComponents,
  varianceComponents,
} from '@longhold/core/mixed';
import { expectWithin } from './closeness';
import { readFixture } from './fixture';
import { answered, mixedData, type MixedModelRows } from './mixed-fixture';
import { printed } from './tolerances';

// Reaction times of 18 people over ten days with little sleep (Belenky and others 2003), as analysed in print by
// Bates, Maechler, Bolker and Walker, Journal of Statistical Software 2015;67(1), sections 1.2 and 5. Digits from memory.
const { cases } = readFixture<{ cases: (MixedModelRows & { name: string; criterion: string })[] }>(
  'mixed-models',
);

function modelOf(name: string) {
  const rows = cases.find((one) => one.name === name);
  if (rows === undefined) throw new Error(`no case ${name}`);
  return answered(prepareMixedModel(mixedData(rows)));
}

describe('the printed analysis of the sleep study (Bates and others 2015)', () => {
  const model = modelOf('sleepstudy');

  it('is found again: criterion, fixed effects, variance components', () => {
    const fit = answered(fitMixedModel(model));
    expectWithin(-2 * fit.logLikelihood, 1743.6, printed(1), 'REML criterion');
    const [level, rate] = answered(fixedEffects(model, fit));
    expectWithin(level?.estimate ?? NaN, 251.405, printed(3));
    expectWithin(level?.standardError ?? NaN, 6.825, printed(3));
    expectWithin(rate?.estimate ?? NaN, 10.467, printed(3));
    expectWithin(rate?.standardError ?? NaN, 1.546, printed(3));
    expectWithin(rate?.df ?? NaN, 17, printed(3), 'degrees of freedom of the rate');
    const components = varianceComponents(model, fit).map(({ estimate }) => estimate ?? NaN);
    // Later printouts of the program say 24.741 for the first, its search having stopped a little early.
    [24.74, 5.922, 0.07, 25.592].forEach((value, i) => {
      expectWithin(components[i] ?? NaN, value, printed(i === 2 ? 2 : 3));
    });
  });

  it('is found again: profile limits of the standard deviations and the correlation', () => {
    const fit = answered(fitMixedModel(model, { criterion: 'ML' }));
    const components = answered(profileVarianceComponents(model, fit));
    const limits = components.map(({ lower, upper }) => [lower ?? NaN, upper ?? NaN]);
    const inPrint = [
      [14.38, 37.72],
      [3.8, 8.75],
      [-0.48, 0.68],
      [22.9, 28.86],
    ];
    // Limits in print are read off an interpolated profile.
    inPrint.flat().forEach((value, i) => {
      expectWithin(limits.flat()[i] ?? NaN, value, printed(2) + 1e-3 * Math.abs(value), `limit ${i + 1}`);
    });
  });
});

describe('the yields of dyestuff (Davies 1947, as in Bates 2010)', () => {
  it('have the closed-form variances of the balanced one-way layout', () => {
    const model = modelOf('Dyestuff');
    const fit = answered(fitMixedModel(model));
    expectWithin(fit.coefficients[0] ?? NaN, 1527.5, 1e-9);
    expectWithin(fit.residualSd ** 2, 2451.25, 1e-4);
    expectWithin(fit.randomCovariance[0] ?? NaN, 1764.05, 1e-3);
    expectWithin(-2 * fit.logLikelihood, 319.6543, printed(4));
    // Between batches there are five degrees of freedom.
    expectWithin(answered(fixedEffects(model, fit))[0]?.df ?? NaN, 5, 1e-6);
    const full = answered(fitMixedModel(model, { criterion: 'ML' }));
    expectWithin(-2 * full.logLikelihood, 327.3271, printed(4));
    expect(full.singular).toBe(false);
  });
});

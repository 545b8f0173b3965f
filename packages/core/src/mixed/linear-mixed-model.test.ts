import { describe, expect, it } from 'vitest';
import { createRandom, sampleCovariance, sampleVariance } from '../numeric';
import { fitLinearMixedModel, type MixedGroup } from './linear-mixed-model';

// Elston and Grizzle 1962: ramus height (mm) of 20 boys at 8, 8.5, 9 and 9.5 years.
const RAMUS = `47.8 48.8 49.0 49.7|46.4 47.3 47.7 48.4|46.3 46.8 47.8 48.5|45.1 45.3 46.1 47.2|47.6 48.5 48.9 49.3
52.5 53.2 53.3 53.7|51.2 53.0 54.3 54.5|49.8 50.0 50.3 52.7|48.1 50.8 52.3 54.4|45.0 47.0 47.3 48.3
51.2 51.4 51.6 51.9|48.5 49.2 53.0 55.5|52.1 52.8 53.7 55.0|48.2 48.9 49.3 49.8|49.6 50.4 51.2 51.8
50.7 51.7 52.7 53.3|47.2 47.7 48.4 49.5|53.3 54.6 55.1 55.3|46.2 47.5 48.1 48.4|46.3 47.6 51.3 51.8`;

const boys: MixedGroup[] = RAMUS.split(/[|\n]/).map((row) => ({
  response: row.trim().split(' ').map(Number),
  fixed: [8, 8.5, 9, 9.5].map((age) => [1, age - 8.75]),
  random: [8, 8.5, 9, 9.5].map((age) => [1, age - 8.75]),
}));

const byBoy = (slopeSd: number): MixedGroup[] => {
  const random = createRandom(5);
  return Array.from({ length: 40 }, () => {
    const slope = slopeSd * random.normal();
    const ages = [-1, 0, 1, 2];
    return {
      response: ages.map((age) => 10 + 2 * age + slope * age + random.normal()),
      fixed: ages.map((age) => [1, age]),
      random: ages.map((age) => [1, age]),
    };
  });
};

describe('the linear mixed model', () => {
  it('finds the mean slope of the balanced ramus series, 1.866 mm a year (Elston and Grizzle 1962)', () => {
    const fit = fitLinearMixedModel(boys, { criterion: 'REML' });
    if ('failure' in fit) throw new Error(fit.failure);
    expect(fit.coefficients[1]).toBeCloseTo(1.866, 9);
    expect(fit.converged).toBe(true);
  });

  it('equals least squares when groups do not differ', () => {
    const groups = byBoy(0).map((group) => ({ ...group, random: group.random.map(() => [0]) }));
    const fit = fitLinearMixedModel(groups, { criterion: 'REML' });
    if ('failure' in fit) throw new Error(fit.failure);
    const ages = groups.flatMap((group) => group.fixed.map((row) => row[1] ?? NaN));
    const values = groups.flatMap((group) => group.response);
    const slope = sampleCovariance(ages, values) / sampleVariance(ages);
    expect(fit.coefficients[1]).toBeCloseTo(slope, 9);
  });

  it('calls a fit singular when the groups share one slope', () => {
    // Residuals orthogonal to level and slope: every group's own line is the same line.
    const groups = byBoy(0).map((group, i) => ({
      ...group,
      response: [-1, 0, 1, 2].map(
        (age, k) => 10 + 2 * age + (k === 0 || k === 3 ? 1 : -1) * (i % 2 === 0 ? 1 : -1),
      ),
    }));
    const fit = fitLinearMixedModel(groups, { criterion: 'REML' });
    if ('failure' in fit) throw new Error(fit.failure);
    expect(fit.singular).toBe(true);
  });

  it('does not depend on the order of the groups', () => {
    const forward = fitLinearMixedModel(byBoy(1), { criterion: 'REML' });
    const backward = fitLinearMixedModel(byBoy(1).reverse(), { criterion: 'REML' });
    if ('failure' in forward || 'failure' in backward) throw new Error('no fit');
    expect(backward.logLikelihood).toBeCloseTo(forward.logLikelihood, 8);
  });

  it('says what is wrong with data that carry no model', () => {
    expect(fitLinearMixedModel(boys.slice(0, 1), { criterion: 'REML' })).toEqual({
      failure: 'too-few-responses',
    });
    const twice = boys.map((group) => ({ ...group, fixed: group.fixed.map(([one = 1]) => [one, one]) }));
    expect(fitLinearMixedModel(twice, { criterion: 'REML' })).toEqual({ failure: 'redundant-columns' });
    const flat = boys.map((group) => ({ ...group, response: group.response.map(() => 7) }));
    expect(fitLinearMixedModel(flat, { criterion: 'REML' })).toEqual({ failure: 'no-residual-variation' });
  });
});

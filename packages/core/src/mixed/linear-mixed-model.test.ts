import { describe, expect, it } from 'vitest';
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

describe('the linear mixed model', () => {
  it('finds the mean slope of the balanced ramus series', () => {
    const fit = fitLinearMixedModel(boys, { criterion: 'REML' });
    if ('failure' in fit) throw new Error(fit.failure);
    expect(fit.coefficients[1]).toBeCloseTo(1.866, 10);
    expect(fit.converged).toBe(true);
    console.log(fit);
  });
});

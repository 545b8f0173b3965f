import { describe, expect, it } from 'vitest';
import { effectsModel, oneMean, regressionAt } from './weighted-regression';

describe('weighted regression', () => {
  it('keeps the digits of the residual of a study that outweighs all others ten billion times', () => {
    const others = [
      { estimate: 3, weight: 1 },
      { estimate: -2, weight: 1 / 2 },
      { estimate: 5, weight: 1 / 4 },
    ];
    const fit = regressionAt(oneMean({ estimate: [0, 3, -2, 5], variance: [1e-10, 1, 2, 4] }), 0);
    // The heavy study has estimate 0, so the mean is made by the others alone, and weighted residuals add up to 0.
    const mean = (3 - 2 / 2 + 5 / 4) / (1e10 + 1.75);
    const weighted = others.map(({ estimate, weight }) => weight * (estimate - mean));
    const heavy = weighted.reduce((sum, value) => sum + value, 0);
    const expected = weighted.reduce((sum, value) => sum + value ** 2, heavy ** 2);
    expect(fit.squaresOfWeighted / expected).toBeCloseTo(1, 13);
  });

  it('fits a study that is alone in its group exactly, whatever its weight', () => {
    const columns = [Float64Array.of(1, 0, 0), Float64Array.of(0, 1, 1)];
    const studies = { estimate: [7, 1, 3], variance: [5, 1, 1] };
    const fit = regressionAt(effectsModel(studies, columns, [1, 1]), 0);
    expect(fit.coefficients[0]).toBe(7);
    expect(fit.coefficients[1]).toBeCloseTo(2, 14);
    expect(fit.diagonal[0]).toBe(0);
    expect(fit.squares).toBeCloseTo(2, 14);
  });
});

import { describe, expect, it } from 'vitest';
import { chiSquaredQuantile, minimise } from '../numeric';
import { devianceAt, fitMixedModel } from './linear-mixed-model';
import { answered, inventedPatients, lines } from './mixed-data.fixture';
import { prepareMixedModel, type MixedModel } from './mixed-model';
import type { MixedData } from './model-data';
import { profileVarianceComponents } from './variance-profile';

const SIGMA = 1.1;
const { response, time, label, centre } = inventedPatients(21, 50);
const independent: MixedData = {
  ...lines(response, time, label, { structure: 'diagonal' }),
  residual: { standardDeviation: SIGMA },
};
const levels = lines(response, time, label, { slopes: false });
const nested: MixedData = {
  ...levels,
  outer: { factor: 'centre', labels: centre, columns: independent.random.columns },
  residual: { standardDeviation: SIGMA },
};

/** The lowest deviance over other parameters, by the general minimiser on the deviance in its plain form. */
function lowest(
  model: MixedModel,
  factors: (others: readonly number[]) => readonly [readonly number[], readonly number[]],
  starts: readonly (readonly number[])[],
): number {
  const deviance = (others: readonly number[]): number => {
    const [random, outer] = factors(others);
    return devianceAt(model, 'REML', random, outer) ?? Number.MAX_VALUE;
  };
  return minimise(deviance, starts).value;
}

/** The deviance at a limit, less the lowest of all, is the quantile (unless the limit is a bound). */
describe('at a profile limit the deviance has risen by the chi-squared quantile', () => {
  const quantile = chiSquaredQuantile(0.95, 1);

  it('for independent effects', () => {
    const model = answered(prepareMixedModel(independent));
    const fit = answered(fitMixedModel(model));
    const [level, rate, residual] = answered(profileVarianceComponents(model, fit));
    expect(residual?.kind).toBe('residual');
    const limits = [level?.lower, level?.upper, rate?.lower, rate?.upper].map((limit) => limit ?? NaN);
    limits.forEach((limit, i) => {
      const held = limit / SIGMA;
      const value = lowest(model, ([other = 0]) => [i < 2 ? [held, other] : [other, held], []], [[1]]);
      expect(limit).toBeGreaterThan(0);
      expect(value + 2 * fit.logLikelihood).toBeCloseTo(quantile, 5);
    });
  });

  it('for the levels and rates of centres, and their correlation', () => {
    const model = answered(prepareMixedModel(nested));
    const fit = answered(fitMixedModel(model));
    const components = answered(profileVarianceComponents(model, fit));
    const find = (kind: string, effects: string): { lower: number; upper: number } => {
      const found = components.find(
        (one) => one.factor === 'centre' && one.kind === kind && one.effects.join() === effects,
      );
      return { lower: found?.lower ?? NaN, upper: found?.upper ?? NaN };
    };
    const rise = (factors: Parameters<typeof lowest>[1]): number => {
      const starts = [
        [2, 1, 0.3],
        [2, 1, -0.3],
        [2, 0.3, 0.05],
      ];
      return lowest(model, factors, starts) + 2 * fit.logLikelihood;
    };
    const upperLevel = find('standard-deviation', 'intercept').upper / SIGMA;
    expect(rise(([own = 0, across = 0, rate = 0]) => [[own], [upperLevel, across, rate]])).toBeCloseTo(
      quantile,
      5,
    );
    const upperRate = find('standard-deviation', 'time').upper / SIGMA;
    expect(
      rise(([own = 0, level = 0, angle = 0]) => [
        [own],
        [level, upperRate * Math.sin(angle), upperRate * Math.cos(angle)],
      ]),
    ).toBeCloseTo(quantile, 5);
    for (const limit of Object.values(find('correlation', 'intercept,time'))) {
      const angle = Math.asin(limit);
      const value = rise(([own = 0, level = 0, rate = 0]) => [
        [own],
        [Math.abs(level), Math.abs(rate) * Math.sin(angle), Math.abs(rate) * Math.cos(angle)],
      ]);
      if (Math.abs(limit) === 1) expect(value).toBeLessThanOrEqual(quantile);
      else expect(value).toBeCloseTo(quantile, 5);
    }
  });
});

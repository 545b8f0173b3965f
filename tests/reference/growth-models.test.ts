import { describe, expect, it } from 'vitest';
import { splineBasis } from '@longhold/core/growth';
import { fitLinearMixedModel, type MixedData, type MixedFit } from '@longhold/core/mixed';
import { bilinear, isRefusal, mean } from '@longhold/core/numeric';
import { expectClose } from './closeness';
import { growthFixture, type GrowthFit, type SexName } from './growth-fixture';
import { MAXIMUM_HEIGHT, MAXIMUM_PLACE, VARIANCE_COMPONENT } from './tolerances';

/** Ages of the random slope are counted from the mean age, as the growth reference does; carried back for comparison. */
function centreOf(fit: GrowthFit): number {
  return mean(growthFixture.series[fit.name].age);
}

function fixedRow(fit: GrowthFit, sex: SexName, age: number): number[] {
  const [youngest, oldest] = fit.boundaryKnots;
  // A straight line is compared on R's own columns, because the restricted likelihood depends on them.
  const curve =
    fit.degreesOfFreedom === 1 ? [age] : splineBasis({ knots: [youngest, ...fit.innerKnots, oldest] }, age);
  return fit.sexes.flatMap((one) => [1, ...curve].map((value) => (one === sex ? value : 0)));
}

function dataOf(fit: GrowthFit): MixedData {
  const { child, sex, age, value } = growthFixture.series[fit.name];
  const centre = centreOf(fit);
  const rows = age.map((at, i) => fixedRow(fit, sex[i] ?? 'male', at));
  return {
    response: value,
    fixed: (rows[0] ?? []).map((_, column) => ({
      name: `column ${column + 1}`,
      values: rows.map((row) => row[column] ?? NaN),
    })),
    random: {
      factor: 'child',
      labels: child,
      columns: [
        { name: 'level', values: age.map(() => 1) },
        { name: 'rate', values: age.map((at) => at - centre) },
      ],
    },
  };
}

function fitted(fit: GrowthFit): MixedFit {
  const result = fitLinearMixedModel(dataOf(fit), { criterion: fit.method });
  if (isRefusal(result)) throw new Error(result.message);
  return result;
}

/** Variance of levels, covariance and variance of rates when ages are counted from birth instead of from `centre`. */
function fromBirth(covariance: readonly number[], centre: number): [number, number, number] {
  const [level = NaN, mixed = NaN, , rate = NaN] = covariance;
  return [level - 2 * centre * mixed + centre ** 2 * rate, mixed - centre * rate, rate];
}

describe('growth curves with a random level and rate agree with R', () => {
  it.each(growthFixture.fits)('$name, $degreesOfFreedom degrees of freedom, $method: $call', (expected) => {
    const fit = fitted(expected);
    expect(fit.converged).toBe(true);
    expect(fit.singular).toBe(false);
    if (expected.method === 'ML' || expected.degreesOfFreedom === 1) {
      expectClose(fit.logLikelihood, expected.logLikelihood, MAXIMUM_HEIGHT, 'log-likelihood');
    }
    expectClose(fit.residualSd ** 2, expected.residualVariance, VARIANCE_COMPONENT, 'residual variance');
    const [level, mixed, rate] = fromBirth(fit.randomCovariance, centreOf(expected));
    expectClose(level, expected.randomCovariance[0][0], VARIANCE_COMPONENT, 'variance of levels');
    expectClose(mixed, expected.randomCovariance[0][1], VARIANCE_COMPONENT, 'covariance of level and rate');
    expectClose(rate, expected.randomCovariance[1][1], VARIANCE_COMPONENT, 'variance of rates');
    for (const sex of expected.sexes) {
      expected.expected.ages.forEach((age, i) => {
        const row = fixedRow(expected, sex, age);
        const size = row.reduce((sum, value, j) => sum + value * (fit.coefficients[j] ?? NaN), 0);
        const error = Math.sqrt(bilinear(row, fit.covariance, row));
        const sizes = expected.expected[sex];
        expectClose(size, sizes?.value[i] ?? NaN, MAXIMUM_PLACE, `${sex} at ${age}`);
        expectClose(error, sizes?.standardError[i] ?? NaN, MAXIMUM_PLACE, `error of ${sex} at ${age}`);
      });
    }
  });
});

import { describe, expect, it } from 'vitest';
import { isRefusal, type DesignTerm } from '@longhold/core/numeric';
import {
  predictTimes,
  timeRegression,
  type TimeDistribution,
  type TimeRegression,
} from '@longhold/core/survival';
import { expectAllClose, expectClose } from './closeness';
import { readFixture, type NumberOrNull } from './fixture';
import { MAXIMUM_HEIGHT, MAXIMUM_PLACE } from './tolerances';

interface Fit {
  readonly distribution: TimeDistribution;
  readonly coefficients: number[];
  readonly scale: number;
  readonly covariance: number[][];
  readonly robustCovariance?: number[][];
  readonly logLikelihood: number;
  readonly nullLogLikelihood: number;
  readonly aic: number;
  readonly logQuantiles: number[];
  readonly logQuantileErrors: number[];
  readonly survival: { readonly survival: number; readonly lower: number; readonly upper: number };
}

interface Case {
  readonly name: string;
  readonly source: string;
  readonly left: number[];
  readonly right: NumberOrNull[];
  readonly weight: number[];
  readonly terms: (
    { name: string; labels: string[]; levels: string[] } | { name: string; numbers: number[] }
  )[];
  readonly newdata: Record<string, string | number>;
  readonly time: number;
  readonly cluster: number[] | null;
  readonly fits: Fit[];
}

// Source: survival::survreg with rel.tolerance 1e-13. See r/accelerated-failure-time.R.
const { cases, probabilities } = readFixture<{ cases: Case[]; probabilities: number[] }>(
  'accelerated-failure-time',
);
const fits = cases.flatMap((one) => one.fits.map((fit) => ({ ...one, ...fit })));

function fitted(one: Case & Fit, robust: boolean): TimeRegression {
  const terms = one.terms.map((term): DesignTerm =>
    'labels' in term
      ? { kind: 'factor', name: term.name, values: term.labels, levels: term.levels }
      : { kind: 'numeric', name: term.name, values: term.numbers },
  );
  const fit = timeRegression({
    times: { left: one.left, right: one.right.map((right) => right ?? Infinity), count: one.weight },
    distribution: one.distribution,
    terms,
    cluster: robust ? (one.cluster ?? undefined) : undefined,
  });
  if (isRefusal(fit)) throw new Error(fit.message);
  return fit;
}

/** Covariances are compared on the scale of their standard errors: one near 0 has no digits of its own. */
function expectCovariance(
  actual: readonly (readonly number[])[],
  expected: readonly number[][],
  what: string,
): void {
  expect(actual.length, what).toBe(expected.length);
  expected.forEach((line, j) => {
    line.forEach((value, k) => {
      const unit = Math.sqrt((expected[j]?.[j] ?? NaN) * (expected[k]?.[k] ?? NaN));
      expectClose((actual[j]?.[k] ?? NaN) / unit, value / unit, MAXIMUM_PLACE, `${what} ${j}, ${k}`, 1);
    });
  });
}

describe('the regression of times agrees with survreg', () => {
  it.each(fits)('$name, $distribution ($source)', (expected) => {
    const fit = fitted(expected, false);
    const errors = fit.coefficients.map(({ standardError }) => standardError);
    fit.coefficients.forEach(({ estimate }, j) => {
      const value = expected.coefficients[j] ?? NaN;
      expectClose(estimate, value, MAXIMUM_PLACE, `coefficient ${j}`, errors[j]);
    });
    expectClose(fit.scale.estimate, expected.scale, MAXIMUM_PLACE, 'scale');
    expectClose(fit.logLikelihood, expected.logLikelihood, MAXIMUM_HEIGHT, 'log-likelihood');
    expectClose(fit.nullLogLikelihood, expected.nullLogLikelihood, MAXIMUM_HEIGHT, 'null log-likelihood');
    expectClose(fit.aic, expected.aic, MAXIMUM_HEIGHT, 'AIC');
    expectCovariance(fit.covariance, expected.covariance, 'covariance');
  });

  it.each(fits)('predictions of $name, $distribution', (expected) => {
    const prediction = predictTimes(
      fitted(expected, false),
      expected.newdata,
      [expected.time],
      probabilities,
    );
    if (isRefusal(prediction)) throw new Error(prediction.message);
    const { quantiles, survival } = prediction;
    const logTimes = quantiles.map(({ estimate }) => Math.log(estimate));
    expectAllClose(logTimes, expected.logQuantiles, MAXIMUM_PLACE, 'log quantiles', 0.1);
    const errors = quantiles.map(({ logStandardError }) => logStandardError);
    expectAllClose(errors, expected.logQuantileErrors, MAXIMUM_PLACE, 'standard errors of log quantiles');
    const at = survival[0];
    expectClose(at?.estimate ?? NaN, expected.survival.survival, MAXIMUM_PLACE, 'survival');
    expectClose(at?.lower ?? NaN, expected.survival.lower, MAXIMUM_PLACE, 'lower limit');
    expectClose(at?.upper ?? NaN, expected.survival.upper, MAXIMUM_PLACE, 'upper limit');
  });

  it.each(fits.filter(({ robustCovariance }) => robustCovariance !== undefined))(
    'robust variance of $name, $distribution',
    (expected) => {
      const fit = fitted(expected, true);
      expect(fit.variance).toBe('robust');
      expectCovariance(fit.covariance, expected.robustCovariance ?? [], 'robust covariance');
    },
  );
});

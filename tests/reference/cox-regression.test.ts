import { describe, expect, it } from 'vitest';
import { expectAllClose, expectClose } from './closeness';
import { COX_CASES, fitCase, MONOTONE_CASES } from './cox-fixture';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, NEWTON_PLACE } from './tolerances';

/** Entries of a covariance that are near zero beside its diagonal carry the rounding of the diagonal. */
function smallest(covariance: readonly number[]): number {
  return 1e-6 * Math.max(...covariance.map(Math.abs));
}

// Source: survival::coxph with eps = 1e-14; see r/cox-regression.R.
describe('Cox regression agrees with coxph', () => {
  it.each(COX_CASES)('$name: coefficients and covariances', (example) => {
    const fit = fitCase(example);
    const estimates = fit.coefficients.map(({ estimate }) => estimate ?? NaN);
    expectAllClose(estimates, example.coefficients, NEWTON_PLACE, 'coefficients', 1e-3);
    const { covariance, modelCovariance } = example;
    expectAllClose([...(fit.covariance ?? [])], covariance, NEWTON_PLACE, 'covariance', smallest(covariance));
    expectAllClose(
      [...(fit.modelCovariance ?? [])],
      modelCovariance,
      NEWTON_PLACE,
      'model covariance',
      smallest(modelCovariance),
    );
    expect(fit.robust).toBe(example.robust);
  });

  it.each(COX_CASES)('$name: likelihoods and tests', (example) => {
    const fit = fitCase(example);
    expectClose(fit.nullLogLikelihood, example.logLikelihood[0], MAXIMUM_HEIGHT, 'null log-likelihood');
    expectClose(fit.logLikelihood, example.logLikelihood[1], MAXIMUM_HEIGHT, 'log-likelihood');
    expectClose(fit.scoreTest.statistic, example.score, CLOSED_FORM, 'score test');
    expectClose(fit.waldTest?.statistic ?? NaN, example.wald, NEWTON_PLACE, 'Wald test');
    if (example.robustScore !== null) {
      expectClose(
        fit.robustScoreTest?.statistic ?? NaN,
        example.robustScore,
        CLOSED_FORM,
        'robust score test',
      );
    }
  });

  // coxph warns that the coefficient may be infinite; it stops a long way out, where the other numbers are right.
  it.each(MONOTONE_CASES)('$name: infinite coefficients flagged, all else as coxph far out', (example) => {
    const fit = fitCase(example);
    const flagged = fit.coefficients.flatMap(({ infinite }, j) => (infinite === null ? [] : [j]));
    expect(flagged).toEqual(example.infinite);
    expectClose(fit.nullLogLikelihood, example.logLikelihood[0], MAXIMUM_HEIGHT, 'null log-likelihood');
    expectClose(fit.logLikelihood, example.logLikelihood[1], MAXIMUM_HEIGHT, 'log-likelihood');
    expectClose(fit.scoreTest.statistic, example.score, CLOSED_FORM, 'score test');
    const finite = example.finite.map((j) => fit.coefficients[j]);
    expectAllClose(
      finite.map((coefficient) => coefficient?.estimate ?? NaN),
      example.estimates,
      MAXIMUM_PLACE,
      'finite coefficients',
      1e-3,
    );
    expectAllClose(
      finite.map((coefficient) => coefficient?.standardError ?? NaN),
      example.errors,
      MAXIMUM_PLACE,
      'their standard errors',
    );
  });
});

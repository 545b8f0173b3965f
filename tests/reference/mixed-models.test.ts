import { describe, expect, it } from 'vitest';
import {
  devianceAt,
  fitMixedModel,
  fittedValues,
  fixedEffects,
  predictRandomEffects,
  prepareMixedModel,
  testContrasts,
} from '@longhold/core/mixed';
import { expectAllClose, expectClose } from './closeness';
import { readFixture } from './fixture';
import { answered, mixedData, type MixedModelRows } from './mixed-fixture';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, VARIANCE_COMPONENT } from './tolerances';

interface MixedCase extends MixedModelRows {
  readonly name: string;
  readonly criterion: 'REML' | 'ML';
  readonly call: string | null;
  readonly tried: { theta: number[]; deviance: number }[];
  readonly logLikelihood: number;
  readonly aic: number;
  readonly bic: number;
  readonly coefficients: number[];
  readonly covariance: number[][];
  readonly residualSd: number;
  readonly randomCovariance: number[][];
  readonly outerCovariance: number[][] | null;
  readonly df: number[];
  readonly dfOfLmerTest: number[] | null;
  readonly joint: {
    rows: number[][];
    f: number;
    numeratorDf: number;
    denominatorDf: number;
    p: number;
  } | null;
  readonly effects: number[];
  readonly conditionalSds: number[];
  readonly predictionErrors: number[];
  readonly fitted: number[];
}

const { cases } = readFixture<{ cases: MixedCase[] }>('mixed-models');

/** Degrees of freedom rest on numeric second derivatives on R's side (numDeriv, Richardson): good to some 1e-6. Relative. */
const DEGREES_OF_FREEDOM = 1e-6;

/** lmerTest takes them at lmer's optimum, with differences of its own. Relative. */
const DEGREES_OF_LMERTEST = 1e-4;

/** Variances of components at zero come out as the square of a search step. */
const scaleOf = (one: MixedCase): number => one.residualSd ** 2;

describe.each(cases)('$name, $criterion: R and the library agree', (one) => {
  const model = answered(prepareMixedModel(mixedData(one)));
  const fit = answered(fitMixedModel(model, { criterion: one.criterion }));
  const inner = one.diagonal ? (one.Z[0] ?? []).length : triangle((one.Z[0] ?? []).length);

  it('on the deviance at given relative factors', () => {
    for (const { theta, deviance } of one.tried) {
      const ours = devianceAt(model, one.criterion, theta.slice(0, inner), theta.slice(inner));
      expectClose(ours ?? NaN, deviance, 1e-12, `deviance at ${theta.join(', ')}`);
    }
  });

  it('on the height of the maximum, where the gradient vanishes', () => {
    expect(fit.converged).toBe(true);
    expect(fit.gradient).toBeLessThan(1e-5);
    expectClose(fit.logLikelihood, one.logLikelihood, MAXIMUM_HEIGHT, 'log-likelihood');
    expectClose(fit.aic, one.aic, MAXIMUM_HEIGHT, 'AIC');
    expectClose(fit.bic, one.bic, MAXIMUM_HEIGHT, 'BIC');
  });

  it('on the estimates', () => {
    expectAllClose(fit.coefficients, one.coefficients, MAXIMUM_PLACE, 'coefficients', 1e-3);
    expectAllClose(Array.from(fit.covariance), one.covariance.flat(), VARIANCE_COMPONENT, 'covariance', 1e-6);
    expectClose(fit.residualSd, one.residualSd, MAXIMUM_PLACE, 'residual SD');
    const smallest = scaleOf(one) * 1e-2;
    expectAllClose(fit.randomCovariance, one.randomCovariance.flat(), VARIANCE_COMPONENT, 'G', smallest);
    expectAllClose(
      fit.outerCovariance,
      (one.outerCovariance ?? []).flat(),
      VARIANCE_COMPONENT,
      'H',
      smallest,
    );
  });

  it("on Satterthwaite's degrees of freedom and joint tests", () => {
    const effects = answered(fixedEffects(model, fit));
    const df = effects.map((effect) => effect.df ?? Infinity);
    expectAllClose(df, one.df, DEGREES_OF_FREEDOM, 'df');
    if (one.dfOfLmerTest !== null) expectAllClose(df, one.dfOfLmerTest, DEGREES_OF_LMERTEST, 'lmerTest');
    effects.forEach((effect, i) => {
      const error = Math.sqrt(one.covariance[i]?.[i] ?? NaN);
      expectClose(effect.standardError, error, VARIANCE_COMPONENT, 'standard error');
      expectClose(effect.t, (one.coefficients[i] ?? NaN) / error, VARIANCE_COMPONENT, 't', 1e-3);
    });
    if (one.joint === null) return;
    const test = answered(testContrasts(model, fit, one.joint.rows));
    expect(test.numeratorDf).toBe(one.joint.numeratorDf);
    expectClose(test.f, one.joint.f, VARIANCE_COMPONENT, 'F');
    expectClose(
      test.denominatorDf ?? Infinity,
      one.joint.denominatorDf,
      DEGREES_OF_FREEDOM,
      'denominator df',
    );
    expectClose(test.p, one.joint.p, 1e-4, 'p');
  });

  it('on predicted random effects, their errors and fitted values', () => {
    const { groups, outerGroups } = answered(predictRandomEffects(model, fit));
    const all = [...orderOfR(one, groups), ...outerGroups];
    const scale = fit.residualSd * 1e-2;
    const list = (pick: (group: (typeof all)[number]) => readonly number[]): number[] => all.flatMap(pick);
    expectAllClose(
      list((group) => group.effects),
      one.effects,
      VARIANCE_COMPONENT,
      'effects',
      scale,
    );
    expectAllClose(
      list((g) => g.conditionalSds),
      one.conditionalSds,
      VARIANCE_COMPONENT,
      'given',
      scale,
    );
    expectAllClose(
      list((g) => g.predictionErrors),
      one.predictionErrors,
      VARIANCE_COMPONENT,
      'errors',
      scale,
    );
    const { fitted, residuals } = answered(fittedValues(model, fit));
    expectAllClose(Array.from(fitted), one.fitted, MAXIMUM_PLACE, 'fitted');
    residuals.forEach((residual, i) => {
      expectClose(residual + (fitted[i] ?? NaN), one.y[i] ?? NaN, CLOSED_FORM, 'fitted plus residual');
    });
  });
});

function triangle(size: number): number {
  return (size * (size + 1)) / 2;
}

/** R lists groups in the order in which they first appear; ours stand by outer group. */
function orderOfR<Group extends { label: string | number; outerLabel: string | number | null }>(
  one: MixedCase,
  groups: readonly Group[],
): Group[] {
  const codes = one.group.map((label, i) => `${one.outer?.[i] ?? ''} ${label}`);
  return [...new Set(codes)].map((code) => {
    const found = groups.find(({ label, outerLabel }) => `${outerLabel ?? ''} ${label}` === code);
    if (found === undefined) throw new Error(`no group ${code}`);
    return found;
  });
}

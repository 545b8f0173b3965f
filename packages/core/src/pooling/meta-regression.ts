import { designMatrix, isRefusal, type DesignRefusal, type DesignTerm } from '../numeric';
import { betweenStudyVariance, type BetweenStudyVariance } from './between-study-variance';
import {
  coefficientErrors,
  estimatedCoefficient,
  jointTest,
  type CoefficientErrors,
  type EstimatedCoefficient,
  type JointTest,
} from './hartung-knapp';
import { heterogeneityOf, type Heterogeneity } from './heterogeneity';
import { poolingWarnings, type PoolingOptions, type PoolingWarning } from './random-effects';
import { checkLevel, checkStudies, type StudiesRefusal, type StudyEffects } from './studies';
import { sharesOf } from './weight-shares';
import { effectsModel, oneMean, regressionAt } from './weighted-regression';

/** Studies and what may explain their differences. */
export interface StudiesWithCovariates extends StudyEffects {
  /** Covariates and factors, one value a study. One is usual: each needs about ten studies. */
  readonly terms: readonly DesignTerm[];
}

/** How the true means of studies depend on covariates. */
export interface MetaRegression {
  readonly studies: number;
  readonly level: number;
  /** The intercept first; unit of the estimates, for one unit of the covariate. */
  readonly coefficients: readonly (EstimatedCoefficient & { readonly name: string })[];
  /** That all coefficients but the intercept are zero. */
  readonly omnibus: JointTest;
  readonly errors: CoefficientErrors;
  /** tau^2 that the covariates leave. */
  readonly between: BetweenStudyVariance;
  /** What the covariates leave unexplained; its Q is the residual one, Q_E. */
  readonly residualHeterogeneity: Heterogeneity;
  /** tau^2 without covariates, by the same estimator. */
  readonly tauSquaredWithout: number;
  /** Share, 0 to 1, of tau^2 that the covariates take away, not below 0; null where there was none without them. */
  readonly rSquared: number | null;
  /** Share of each study, in the order given; they add up to 1. */
  readonly weights: readonly number[];
  readonly warnings: readonly PoolingWarning[];
}

/**
 * Meta-regression: studies' means by covariates, with variance tau^2 around them. Intervals and tests by Knapp and
 * Hartung's t and F unless `interval` says otherwise.
 * Sources: Berkey, Hoaglin, Mosteller and Colditz 1995; Knapp and Hartung 2003; Raudenbush 2009 (R^2).
 *
 * @param options as for a random-effects mean; `predictionDegrees` has no part in it
 * @returns a refusal as `randomEffects` and `designMatrix` give, and where there are no more studies than coefficients
 */
export function metaRegression(
  { estimate, variance, terms }: StudiesWithCovariates,
  options: Omit<PoolingOptions, 'predictionDegrees'> = {},
): MetaRegression | StudiesRefusal | DesignRefusal {
  const { level = 0.95, estimator = 'restricted-maximum-likelihood' } = options;
  const studies = { estimate, variance };
  const wrong =
    checkStudies(studies, { studies: 3, for: 'for an intercept, a slope and their scatter' }) ??
    checkLevel(level);
  if (wrong !== null) return wrong;
  const design = designMatrix(terms, estimate.length, { intercept: true });
  if (isRefusal(design)) return design;
  const { columns: count, names } = design;
  const tooFew = checkStudies(studies, {
    studies: count + 1,
    for: `to estimate ${count} coefficients and the scatter around them`,
  });
  if (tooFew !== null) return tooFew;
  const columns = names.map((_, j) =>
    Float64Array.from({ length: design.rows }, (_, i) => design.values[i * count + j] ?? NaN),
  );
  const model = effectsModel(
    studies,
    columns,
    names.map((_, j) => (j === 0 ? 1 : 0)),
  );
  const between = betweenStudyVariance(model, estimator);
  const fit = regressionAt(model, between.tauSquared);
  const errors = coefficientErrors(model, fit, options.interval ?? 'hartung-knapp-floored');
  const residualHeterogeneity = heterogeneityOf(model, between.tauSquared, level);
  const tauSquaredWithout = betweenStudyVariance(oneMean(studies), estimator).tauSquared;
  const weights = sharesOf(fit.weights);
  return {
    studies: estimate.length,
    level,
    coefficients: names.map((name, j) => ({
      name,
      ...estimatedCoefficient(
        fit.coefficients[j] ?? NaN,
        fit.covariance[j * count + j] ?? NaN,
        errors,
        level,
      ),
    })),
    omnibus: jointTest(fit.squaresExplained, count - 1, errors),
    errors,
    between,
    residualHeterogeneity,
    tauSquaredWithout,
    rSquared: tauSquaredWithout === 0 ? null : Math.max(0, 1 - between.tauSquared / tauSquaredWithout),
    weights,
    warnings: poolingWarnings(errors, between, residualHeterogeneity, weights),
  };
}

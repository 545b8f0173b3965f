import { chiSquaredUpperTail } from '../numeric';
import { estimatedCoefficient, type EstimatedCoefficient } from './hartung-knapp';
import { checkLevel, checkStudies, type StudiesRefusal, type StudyEffects } from './studies';
import { oneMean, regressionAt, residualDegrees } from './weighted-regression';
import { sharesOf } from './weight-shares';

/** One mean for all studies, which are taken to estimate the very same thing. Unit of the estimates. */
export interface CommonEffect extends EstimatedCoefficient {
  readonly studies: number;
  readonly level: number;
  /** Cochran's Q, which tests whether one mean fits all; 0 for a single study. */
  readonly q: number;
  readonly qDegreesOfFreedom: number;
  /** Upper tail of chi-squared; null for a single study. */
  readonly qP: number | null;
  /** Share of each study in the mean, in the order given; they add up to 1. */
  readonly weights: readonly number[];
}

/**
 * Mean weighted with 1 / variance, with normal interval. Source: Cochran 1954; Borenstein and others 2009, chapter 11.
 *
 * @param options `level` of the interval, default 0.95
 * @returns a refusal for columns of different length, estimates or variances that are no proper numbers, and no study
 */
export function commonEffect(
  studies: StudyEffects,
  options: { readonly level?: number } = {},
): CommonEffect | StudiesRefusal {
  const { level = 0.95 } = options;
  const wrong = checkStudies(studies, { studies: 1, for: 'for a mean' }) ?? checkLevel(level);
  if (wrong !== null) return wrong;
  const model = oneMean(studies);
  const fit = regressionAt(model, 0);
  const degrees = residualDegrees(model);
  const errors = { method: 'wald', varianceFactor: 1, factorInUse: 1, degreesOfFreedom: null } as const;
  return {
    studies: model.estimate.length,
    level,
    ...estimatedCoefficient(fit.coefficients[0] ?? NaN, fit.covariance[0] ?? NaN, errors, level),
    q: fit.squares,
    qDegreesOfFreedom: degrees,
    qP: degrees === 0 ? null : chiSquaredUpperTail(fit.squares, degrees),
    weights: sharesOf(fit.weights),
  };
}

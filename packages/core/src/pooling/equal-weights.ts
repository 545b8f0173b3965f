import { estimatedCoefficient, type EstimatedCoefficient } from './hartung-knapp';
import { checkEstimates, checkLevel, type StudiesRefusal } from './studies';
import { oneMean, regressionAt } from './weighted-regression';

/** The plain mean of the studies' estimates. Unit of the estimates. */
export interface EqualWeightsMean extends EstimatedCoefficient {
  readonly studies: number;
  readonly level: number;
  readonly degreesOfFreedom: number;
  /** True from level 0.95 on: the interval then covers at least as often as it claims, whatever the variances. */
  readonly guaranteed: boolean;
}

const GUARANTEED_FROM = 0.95;

/**
 * The mean of the estimates, all weighted alike, with Student's interval on studies less one. It uses neither the
 * studies' variances nor tau^2, so neither can spoil it: for normal estimates with any variances, equal or not, the t
 * test at a two-sided level of 5 % or less errs at most as often as it says. The price is a wide interval where most of
 * the information is in a few studies. The yardstick for a weighted mean that such studies carry.
 * Sources: Bakirov and Székely 2006 (the theorem); Ibragimov and Müller 2010 (its use for groups).
 *
 * @param options `level` of the interval, default 0.95
 * @returns a refusal for estimates that are no proper numbers and for fewer than two studies
 */
export function equalWeightsMean(
  estimate: ArrayLike<number>,
  options: { readonly level?: number } = {},
): EqualWeightsMean | StudiesRefusal {
  const { level = 0.95 } = options;
  const wrong = checkEstimates(estimate, { studies: 2, for: 'to see a scatter' }) ?? checkLevel(level);
  if (wrong !== null) return wrong;
  const studies = estimate.length;
  const degreesOfFreedom = studies - 1;
  const fit = regressionAt(oneMean({ estimate, variance: new Float64Array(studies).fill(1) }), 0);
  const scatter = fit.squares / degreesOfFreedom;
  const errors = {
    method: 'hartung-knapp',
    varianceFactor: scatter,
    factorInUse: scatter,
    degreesOfFreedom,
  } as const;
  return {
    studies,
    level,
    ...estimatedCoefficient(fit.coefficients[0] ?? NaN, 1 / studies, errors, level),
    degreesOfFreedom,
    guaranteed: level >= GUARANTEED_FROM,
  };
}

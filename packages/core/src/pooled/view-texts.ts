import { countText, numberText, pEqualsText, percentText } from '../answers';
import type { Unit } from '../measures';
import { isRefusal, type Refusal } from '../numeric';
import type { RatioInterval } from '../ratio';
import type { ProbabilityReading } from '../survival';
import type { TwoStageMean } from './pool-centres';
import { pooledIntervalText, pooledValueText } from './pooled-words';
import type { ChiSquaredTest } from './pooled-survival';
import type { QuantityKind, ShownCount, ViewedQuantity } from './view';

/* Short texts of table cells that screens and report show alike. */

/** Written where a result must not be shown. */
export const WITHHELD = 'Withheld';
/** Written where there is no result; why stands elsewhere. */
const NO_RESULT = '\u2013';

/** A mean over centres as it may be shown. */
export type ShownMean = Omit<TwoStageMean, 'patients'>;

/** A number of patients, or that it is withheld. */
export function shownCountText(count: ShownCount): string {
  return count === null ? WITHHELD : countText(count);
}

/** Estimate and interval of a quantity, broken over lines only between the two. */
export function pooledEstimateText(
  kind: QuantityKind,
  { estimate, interval }: { readonly estimate: number; readonly interval: RatioInterval },
  unit: Unit,
): string {
  const limits = pooledIntervalText(kind, interval, unit).replaceAll(' ', '\u00a0');
  return `${pooledValueText(kind, estimate, unit)} (${limits})`;
}

/** What is written of the mean over centres; that it is withheld, or a dash where there is none. */
export function ofMeanText(
  { twoStage }: Pick<ViewedQuantity, 'twoStage'>,
  write: (mean: ShownMean) => string,
): string {
  if (twoStage === null) return WITHHELD;
  return isRefusal(twoStage) ? NO_RESULT : write(twoStage);
}

/** The mean over centres with its interval. */
export function meanText(quantity: Pick<ViewedQuantity, 'kind' | 'twoStage'>, unit: Unit): string {
  return ofMeanText(quantity, ({ estimate, limits }) =>
    pooledEstimateText(quantity.kind, { estimate, interval: { kind: 'bounded', ...limits } }, unit),
  );
}

/** Between what the true value of a further centre is expected; a dash for two centres. */
export function predictionText(quantity: Pick<ViewedQuantity, 'kind' | 'twoStage'>, unit: Unit): string {
  return ofMeanText(quantity, ({ prediction }) =>
    prediction === null
      ? NO_RESULT
      : pooledIntervalText(quantity.kind, { kind: 'bounded', ...prediction }, unit),
  );
}

/** All patients as one series. */
export function seriesText(
  { kind, oneStage }: Pick<ViewedQuantity, 'kind' | 'oneStage'>,
  unit: Unit,
): string {
  if (oneStage === null) return WITHHELD;
  return isRefusal(oneStage) ? NO_RESULT : pooledEstimateText(kind, oneStage, unit);
}

/** The viewer's own centre with its patients; a dash where it has no estimate. */
export function ownText({ kind, own }: Pick<ViewedQuantity, 'kind' | 'own'>, unit: Unit): string {
  if (own === null) return NO_RESULT;
  const limits = pooledIntervalText(kind, own.interval, unit);
  return `${pooledValueText(kind, own.estimate, unit)} (${limits}; ${countText(own.patients)})`;
}

/** A test that centres or groups are alike: p, statistic, degrees of freedom; or why there is none. */
export function chiSquaredText(test: ChiSquaredTest | Refusal | null): string {
  if (test === null) return WITHHELD;
  if (isRefusal(test)) return test.message;
  return `${pEqualsText(test.p)} (χ² ${numberText(test.statistic, 2)}, ${test.degreesOfFreedom === 1 ? '1 degree' : `${test.degreesOfFreedom} degrees`} of freedom)`;
}

/** A share of patients with its limits, where it has any. */
export function incidenceText({ probability, lower, upper }: ProbabilityReading): string {
  if (probability === null) return NO_RESULT;
  const limits = lower === null || upper === null ? '' : ` (${percentText(lower)} to ${percentText(upper)})`;
  return `${percentText(probability)}${limits}`;
}

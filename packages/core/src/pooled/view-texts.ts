import { countText, numberText, pEqualsText, percentText } from '../answers';
import type { Unit } from '../measures';
import { isRefusal, type Refusal } from '../numeric';
import type { RatioInterval } from '../ratio';
import type { ProbabilityReading } from '../survival';
import { pooledIntervalText, pooledValueText } from './pooled-words';
import type { QuantityKind, ShownCount, ViewedMean, ViewedQuantity, ViewedTest } from './view';

/* Short texts of table cells that screens and report show alike. */

/** Written where a result must not be shown. */
export const WITHHELD = 'Withheld';
/** Written where there is no result; why stands elsewhere. */
const NO_RESULT = '\u2013';

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

/** A value as it is written; that it is withheld where it is null. */
export function shownText<Value>(value: Value | null, write: (value: Value) => string): string {
  return value === null ? WITHHELD : write(value);
}

/** Between which shares something lies that may not be told itself. */
export function betweenText(limits: ViewedQuantity['between']): string {
  return shownText(limits, ({ lower, upper }) => `${percentText(lower)} to ${percentText(upper)}`);
}

/** What is written of the mean over centres; that it is withheld, or a dash where there is none. */
export function ofMeanText(
  { twoStage }: Pick<ViewedQuantity, 'twoStage'>,
  write: (mean: ViewedMean) => string,
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

/** Between what the true value of a further centre is expected; a dash for two centres. Withheld with the spread. */
export function predictionText(quantity: Pick<ViewedQuantity, 'kind' | 'twoStage'>, unit: Unit): string {
  return ofMeanText(quantity, ({ prediction, iSquared }) => {
    if (prediction === null) return iSquared === null ? WITHHELD : NO_RESULT;
    return pooledIntervalText(quantity.kind, { kind: 'bounded', ...prediction }, unit);
  });
}

/** All patients as one series; between which shares it lies, where no more may be told. */
export function seriesText(
  { kind, oneStage, between }: Pick<ViewedQuantity, 'kind' | 'oneStage' | 'between'>,
  unit: Unit,
): string {
  if (oneStage === null) return betweenText(between);
  return isRefusal(oneStage) ? NO_RESULT : pooledEstimateText(kind, oneStage, unit);
}

/** The viewer's own centre with its patients; a dash where it has no estimate. */
export function ownText({ kind, own }: Pick<ViewedQuantity, 'kind' | 'own'>, unit: Unit): string {
  if (own === null) return NO_RESULT;
  const limits = pooledIntervalText(kind, own.interval, unit);
  return `${pooledValueText(kind, own.estimate, unit)} (${limits}; ${countText(own.patients)})`;
}

/** A test that centres or groups are alike: p, statistic, degrees of freedom; or why there is none. */
export function chiSquaredText(test: ViewedTest | Refusal | null): string {
  if (test === null) return WITHHELD;
  if (isRefusal(test)) return test.message;
  const { statistic, degreesOfFreedom, p } = test;
  if (statistic === null) return pEqualsText(p);
  const degrees = degreesOfFreedom === 1 ? '1 degree' : `${degreesOfFreedom} degrees`;
  return `${pEqualsText(p)} (χ² ${numberText(statistic, 2)}, ${degrees} of freedom)`;
}

/** A share of patients with its limits, where it has any; between which it lies, where it may not be told itself. */
export function incidenceText({ probability, lower, upper }: ProbabilityReading): string {
  const limits = lower === null || upper === null ? null : `${percentText(lower)} to ${percentText(upper)}`;
  if (probability !== null) return `${percentText(probability)}${limits === null ? '' : ` (${limits})`}`;
  return limits === null || lower === null || upper === null
    ? NO_RESULT
    : `Between ${percentText(lower)} and ${percentText(upper)}`;
}

import { fUpperTail, refuse, studentTwoSidedP, twoSidedStudent, type Refusal } from '../numeric';
import { checkPairs, checkShare, pairDifferences } from './checks';
import type { DuplicateReadings } from './duplicates';
import type { Limits } from './variance-limits';

/** A straight line fitted by least squares: value = intercept + slope * size. */
export interface TrendLine {
  readonly intercept: number;
  readonly slope: number;
  readonly slopeStandardError: number;
  /** t limits on n - 2 degrees of freedom. */
  readonly slopeLimits: Limits;
  /** Two-sided p of no slope; null where all points lie on the line. */
  readonly slopeP: number | null;
}

/** Whether differences depend on the size measured. Differences are second minus first, size is the mean of the two. */
export interface DifferenceTrend {
  readonly pairs: number;
  readonly level: number;
  /** Difference on size. Its p is also that of Pitman's test of equal variances of the two methods. */
  readonly difference: TrendLine;
  /** SD of differences about the line, unit of the measure. */
  readonly residualSd: number;
  /** Second method per unit of the first that the slope amounts to, (2 + slope) / (2 - slope); null where slope >= 2 or <= -2. */
  readonly proportionalFactor: number | null;
  /** Size of the residual, sign dropped, on size: whether differences spread more where the measure is larger. */
  readonly spread: TrendLine;
  /** Bradley and Blackwood's F of no bias and equal variances together, on 2 and n - 2; null where all points lie on the line. */
  readonly equalityF: number | null;
  readonly equalityP: number | null;
}

/**
 * Regression of the difference on the mean of two methods, and of the size of its residuals.
 * A slope says that one method magnifies, or only that the two have unequal error variances: differences and means
 * are then correlated without any proportional bias, and more data of this kind cannot tell the two apart.
 * Sources: Bland and Altman 1999, section 3.2; Pitman 1939; Bradley and Blackwood 1989.
 */
export function differenceTrend(
  { first, second }: DuplicateReadings,
  options: { readonly level?: number } = {},
): DifferenceTrend | Refusal {
  const { level = 0.95 } = options;
  const wrong = checkShare('level', level) ?? checkPairs(first, second, 3);
  if (wrong !== null) return wrong;
  const differences = pairDifferences(first, second);
  const sizes = Array.from(first, (value, i) => (value + (second[i] ?? NaN)) / 2);
  if (sizes.every((size) => size === sizes[0])) {
    return refuse('no-variation', `All means of pairs are ${sizes[0]}; a trend needs sizes that vary.`);
  }
  const { line, residuals } = fitLine(sizes, differences, level);
  const n = sizes.length;
  const residualSquares = sumOfSquares(residuals);
  const { slope } = line;
  const equalityF =
    line.slopeP === null
      ? null
      : (sumOfSquares(differences) - residualSquares) / 2 / (residualSquares / (n - 2));
  return {
    pairs: n,
    level,
    difference: line,
    residualSd: Math.sqrt(residualSquares / (n - 2)),
    proportionalFactor: Math.abs(slope) < 2 - 1e-12 ? (2 + slope) / (2 - slope) : null,
    spread: fitLine(sizes, residuals.map(Math.abs), level).line,
    equalityF,
    equalityP: equalityF === null ? null : fUpperTail(equalityF, 2, n - 2),
  };
}

function fitLine(
  x: readonly number[],
  y: readonly number[],
  level: number,
): { readonly line: TrendLine; readonly residuals: readonly number[] } {
  const n = x.length;
  const meanX = x.reduce((sum, value) => sum + value, 0) / n;
  const meanY = y.reduce((sum, value) => sum + value, 0) / n;
  const squaresX = x.reduce((sum, value) => sum + (value - meanX) ** 2, 0);
  const products = x.reduce((sum, value, i) => sum + (value - meanX) * ((y[i] ?? NaN) - meanY), 0);
  const slope = products / squaresX;
  const residuals = x.map((value, i) => (y[i] ?? NaN) - meanY - slope * (value - meanX));
  const left = sumOfSquares(residuals);
  const straight = left <= n * (8 * Number.EPSILON) ** 2 * (sumOfSquares(x) + sumOfSquares(y));
  const slopeStandardError = straight ? 0 : Math.sqrt(left / (n - 2) / squaresX);
  const half = twoSidedStudent(level, n - 2) * slopeStandardError;
  return {
    line: {
      intercept: meanY - slope * meanX,
      slope,
      slopeStandardError,
      slopeLimits: { lower: slope - half, upper: slope + half },
      slopeP: straight ? null : studentTwoSidedP(slope / slopeStandardError, n - 2),
    },
    residuals,
  };
}

function sumOfSquares(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value * value, 0);
}

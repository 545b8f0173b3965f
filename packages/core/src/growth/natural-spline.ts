import { sortedQuantile } from '../numeric';

/** A natural cubic spline: knots in rising order, the first and last at the ends of the data. Two knots make a line. */
export interface NaturalSpline {
  readonly knots: readonly number[];
}

/**
 * Knots for a natural cubic spline with the given degrees of freedom: the two ends of the data and
 * `degreesOfFreedom - 1` inner knots at equally spaced quantiles.
 * `sorted` holds the ages in rising order.
 */
export function splineForAges(sorted: readonly number[], degreesOfFreedom: number): NaturalSpline {
  const knots: number[] = [];
  for (let i = 0; i <= degreesOfFreedom; i++) knots.push(sortedQuantile(sorted, i / degreesOfFreedom));
  return { knots: [...new Set(knots)] };
}

/**
 * The basis at one value: the scaled value itself, then one column for each inner knot (truncated powers made
 * linear beyond the outer knots; Hastie, Tibshirani and Friedman 2009, section 5.2.1). No intercept column.
 * Values are scaled by the range of the knots, so that the columns stay of order one.
 */
export function splineBasis(spline: NaturalSpline, value: number): number[] {
  const first = spline.knots[0] ?? 0;
  const last = spline.knots[spline.knots.length - 1] ?? 1;
  const range = last - first || 1;
  const x = (value - first) / range;
  const scaled = spline.knots.map((knot) => (knot - first) / range);
  const columns = [x];
  const beforeLast = scaled[scaled.length - 2] ?? 0;
  for (const knot of scaled.slice(0, -2)) columns.push(bend(x, knot) - bend(x, beforeLast));
  return columns;
}

function bend(x: number, knot: number): number {
  return (Math.max(0, x - knot) ** 3 - Math.max(0, x - 1) ** 3) / (1 - knot);
}

/**
 * The derivative of `splineBasis` by the value: 1 / range of the knots for the first column, then the slopes of the
 * bent columns. Constant beyond the outer knots.
 */
export function splineSlope(spline: NaturalSpline, value: number): number[] {
  const first = spline.knots[0] ?? 0;
  const last = spline.knots[spline.knots.length - 1] ?? 1;
  const range = last - first || 1;
  const x = (value - first) / range;
  const scaled = spline.knots.map((knot) => (knot - first) / range);
  const beforeLast = scaled[scaled.length - 2] ?? 0;
  const columns = [1 / range];
  for (const knot of scaled.slice(0, -2))
    columns.push((bendSlope(x, knot) - bendSlope(x, beforeLast)) / range);
  return columns;
}

function bendSlope(x: number, knot: number): number {
  return (3 * (Math.max(0, x - knot) ** 2 - Math.max(0, x - 1) ** 2)) / (1 - knot);
}

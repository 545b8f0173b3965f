/** The two tails of a probability, each with its own digits. */
export interface GammaTails {
  readonly lower: number;
  readonly upper: number;
}

/**
 * Regularised incomplete gamma functions of a large shape: the lower tail by its series where x < shape, else the upper
 * tail by its continued fraction, and the other tail as the rest. Either takes some multiple of sqrt(shape) terms.
 * Sources: Abramowitz and Stegun 1964, 6.5.29 and 6.5.31; Loader 2000 (the factor in front without cancellation).
 *
 * @param x above 0
 * @param shape 100 or more
 */
export function largeGammaTails(x: number, shape: number): GammaTails {
  const front = Math.exp(-shape * excess((x - shape) / shape) - stirlingError(shape));
  const height = front / Math.sqrt(2 * Math.PI * shape);
  if (x < shape) {
    const lower = height * lowerSeries(x, shape);
    return { lower, upper: 1 - lower };
  }
  const upper = height * shape * upperFraction(x, shape);
  return { lower: 1 - upper, upper };
}

/** m - log(1 + m), by its series where the two nearly cancel. */
function excess(m: number): number {
  if (Math.abs(m) > 0.05) return m - Math.log1p(m);
  let sum = 0;
  for (let k = 14; k >= 2; k--) sum = (k % 2 === 0 ? 1 : -1) / k + m * sum;
  return m * m * sum;
}

/** What Stirling's formula leaves out of log Gamma(shape + 1). Source: Abramowitz and Stegun 1964, 6.1.41. */
function stirlingError(shape: number): number {
  return 1 / (12 * shape) - 1 / (360 * shape ** 3) + 1 / (1260 * shape ** 5);
}

function lowerSeries(x: number, shape: number): number {
  let term = 1;
  let sum = 1;
  for (let n = 1; term > 1e-17 * sum; n++) sum += term *= x / (shape + n);
  return sum;
}

/** By Lentz's method; every partial denominator stays above 0 for x >= shape. */
function upperFraction(x: number, shape: number): number {
  let partial = x + 1 - shape;
  let d = 1 / partial;
  let c = Infinity;
  let value = d;
  for (let n = 1; n < MOST_TERMS; n++) {
    const a = -n * (n - shape);
    partial += 2;
    d = 1 / (a * d + partial);
    c = partial + a / c;
    const change = c * d;
    value *= change;
    if (Math.abs(change - 1) < 1e-16) break;
  }
  return value;
}

const MOST_TERMS = 1_000_000;

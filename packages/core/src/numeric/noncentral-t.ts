import { normalCumulative } from './distributions';
import { rootBetween } from './root';

/**
 * P(T <= t) of the noncentral t distribution: T = (Z + ncp) / sqrt(X / df), Z standard normal, X chi-squared on df.
 * Correct to some twelve of its own digits in the far tails too: with S = sqrt(X / df) the probability is the mean of
 * Phi(t S - ncp), an integral of a positive function, which the trapezoidal rule in log S gives without cancellation.
 * Sources: Johnson, Kotz and Balakrishnan 1995, chapter 31; Trefethen and Weideman 2014 (the rule).
 *
 * @param df above 0, need not be whole
 */
export function noncentralStudentCumulative(t: number, df: number, ncp: number): number {
  return tailProbability(t, df, ncp);
}

/** P(T > t) of the noncentral t distribution, correct in the far tail. */
export function noncentralStudentUpperTail(t: number, df: number, ncp: number): number {
  return tailProbability(-t, df, -ncp);
}

/**
 * Quantile of the noncentral t distribution: the place where the smaller tail has its probability.
 * Source: as `noncentralStudentCumulative`.
 *
 * @param p in (0, 1)
 */
export function noncentralStudentQuantile(p: number, df: number, ncp: number): number {
  const upper = p > 0.5;
  const wanted = Math.log(upper ? 1 - p : p);
  const excess = (t: number): number => {
    const tail = upper ? noncentralStudentUpperTail(t, df, ncp) : noncentralStudentCumulative(t, df, ncp);
    return Math.log(Math.max(tail, Number.MIN_VALUE)) - wanted;
  };
  // The tail falls away from the middle of the distribution; steps double until they have passed the quantile.
  const outwards = upper ? 1 : -1;
  let near = ncp - 0.1 * outwards;
  let step = 0.5 + 0.1 * Math.abs(ncp);
  while (excess(near) < 0) near -= outwards * (step *= 2);
  let far = near + outwards * step;
  while (excess(far) > 0) far += outwards * (step *= 2);
  const precision = 1e-15 * Math.max(Math.abs(near), Math.abs(far), 1e-3);
  return rootBetween(excess, near, far, precision) ?? far;
}

/** The mean of Phi(t S - ncp) over the distribution of S, by its logarithm about its highest place. */
function tailProbability(t: number, df: number, ncp: number): number {
  if (t === 0) return normalCumulative(-ncp);
  const chi = (u: number): number => df * (u - Math.exp(2 * u) / 2);
  const joint = (u: number): number => chi(u) + logNormalCumulative(t * Math.exp(u) - ncp);
  const place = highestPlace(t, df, ncp);
  // Where Phi is all but 1 over the whole of S, joint and chi have the same height there and the ratio loses nothing.
  return Math.exp(logIntegral(joint, place, df) - logIntegral(chi, 0, df));
}

/**
 * The u = log s at which the integrand is highest. Its logarithm is concave in s, so that the slope in u,
 * df (1 - s^2) + t s phi / Phi, changes sign once.
 */
function highestPlace(t: number, df: number, ncp: number): number {
  const slope = (u: number): number => {
    const s = Math.exp(u);
    return df * (1 - s * s) + t * s * normalHazard(t * s - ncp);
  };
  let low = -1;
  while (slope(low) < 0 && low > -600) low *= 2;
  let high = 1;
  while (slope(high) > 0 && high < 600) high *= 2;
  return rootBetween(slope, low, high, 1e-8) ?? 0;
}

/**
 * Logarithm of the integral of exp(logf) with one peak at `centre`: the trapezoidal rule, its step halved until the
 * sum stays, its ends where nothing more is added.
 */
function logIntegral(logf: (u: number) => number, centre: number, df: number): number {
  const top = logf(centre);
  const sumFrom = (start: number, step: number): number => {
    let total = 0;
    for (let u = start; ; u += step) {
      const term = Math.exp(logf(u) - top);
      total += term;
      if (term < NEGLIGIBLE * total) return total;
    }
  };
  let step = Math.min(0.5, 0.7 / Math.sqrt(df));
  let sum = 1 + sumFrom(centre + step, step) + sumFrom(centre - step, -step);
  for (let halving = 0; halving < 12; halving++) {
    const between = sumFrom(centre + step / 2, step) + sumFrom(centre - step / 2, -step);
    const finer = sum + between;
    const change = Math.abs(finer / 2 - sum);
    step /= 2;
    sum = finer;
    if (change < 1e-14 * sum) break;
  }
  return top + Math.log(sum * step);
}

const NEGLIGIBLE = 1e-18;

/** Below this the asymptotic series of Mills' ratio is good to all digits, and the probability itself near underflow. */
const FAR = -30;

/** log Phi(z), also where Phi(z) is too small for a double. Source: Abramowitz and Stegun 1964, 26.2.12. */
function logNormalCumulative(z: number): number {
  if (z > FAR) return Math.log(normalCumulative(z));
  return -0.5 * z * z - Math.log(-z * Math.sqrt(2 * Math.PI)) + Math.log(millsSeries(z));
}

/** phi(z) / Phi(z). */
function normalHazard(z: number): number {
  if (z < FAR) return -z / millsSeries(z);
  return Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI) / normalCumulative(z);
}

function millsSeries(z: number): number {
  const inverse = 1 / (z * z);
  return 1 - inverse * (1 - 3 * inverse * (1 - 5 * inverse * (1 - 7 * inverse)));
}

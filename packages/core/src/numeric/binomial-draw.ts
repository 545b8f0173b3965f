import type { RandomStream } from './random';

/** From this expected number on numbers are drawn by rejection, below it by adding up probabilities. */
const FEW = 10;

/**
 * How many of `size` independent trials succeed, each with probability `share`.
 * Few expected successes by inversion; many by transformed rejection with squeeze (Hörmann 1993, algorithm BTRS), whose
 * time does not grow with `size`.
 *
 * @param size whole, 0 or more
 * @param share 0 to 1
 */
export function drawBinomial(random: RandomStream, size: number, share: number): number {
  if (size === 0 || share <= 0) return 0;
  if (share >= 1) return size;
  if (share > 0.5) return size - drawBinomial(random, size, 1 - share);
  return size * share < FEW ? byInversion(random, size, share) : byRejection(random, size, share);
}

function byInversion(random: RandomStream, size: number, share: number): number {
  const odds = share / (1 - share);
  let left = random.uniform();
  let probability = Math.exp(size * Math.log1p(-share));
  let successes = 0;
  while (left > probability && successes < size) {
    left -= probability;
    successes++;
    probability *= (odds * (size - successes + 1)) / successes;
  }
  return successes;
}

function byRejection(random: RandomStream, size: number, share: number): number {
  const sd = Math.sqrt(size * share * (1 - share));
  const b = 1.15 + 2.53 * sd;
  const a = -0.0873 + 0.0248 * b + 0.01 * share;
  const centre = size * share + 0.5;
  const squeeze = 0.92 - 4.2 / b;
  const alpha = (2.83 + 5.1 / b) * sd;
  const odds = share / (1 - share);
  const mode = Math.floor((size + 1) * share);
  for (;;) {
    const u = random.uniform() - 0.5;
    const v = random.uniform();
    const within = 0.5 - Math.abs(u);
    const successes = Math.floor(((2 * a) / within + b) * u + centre);
    if (within >= 0.07 && v <= squeeze) return successes;
    if (!(successes >= 0 && successes <= size)) continue;
    const bound = Math.log((v * alpha) / (a / (within * within) + b));
    const logRatio =
      (mode + 0.5) * Math.log((mode + 1) / (odds * (size - mode + 1))) +
      (size + 1) * Math.log((size - mode + 1) / (size - successes + 1)) +
      (successes + 0.5) * Math.log((odds * (size - successes + 1)) / (successes + 1)) +
      factorialTail(mode) +
      factorialTail(size - mode) -
      factorialTail(successes) -
      factorialTail(size - successes);
    if (bound <= logRatio) return successes;
  }
}

/** What Stirling's formula leaves of log n! (for n + 1), exactly for small n; else by its series. */
const TAILS = [
  0.0810614667953272, 0.0413406959554092, 0.0276779256849983, 0.020790672103765, 0.0166446911898211,
  0.0138761288230707, 0.0118967099458917, 0.010411265261972, 0.0092554621827127, 0.0083305634333628,
];

function factorialTail(n: number): number {
  const known = TAILS[n];
  if (known !== undefined) return known;
  const squared = (n + 1) ** 2;
  return (1 / 12 - (1 / 360 - 1 / 1260 / squared) / squared) / (n + 1);
}

/**
 * How often each of some things is drawn when `size` draws with replacement are made of them: one binomial number after
 * another, each of what the others left. Takes a step for each thing, not for each draw.
 *
 * @param weights how many tickets each thing has, 0 or more
 * @param drawn is overwritten
 */
export function drawMultinomial(
  random: RandomStream,
  size: number,
  weights: Float64Array,
  drawn: Float64Array,
): void {
  let leftWeight = weights.reduce((sum, weight) => sum + weight, 0);
  let left = size;
  for (let i = 0; i < weights.length; i++) {
    const weight = weights[i] ?? 0;
    const count = left === 0 ? 0 : drawBinomial(random, left, leftWeight > 0 ? weight / leftWeight : 0);
    drawn[i] = count;
    left -= count;
    leftWeight -= weight;
  }
}

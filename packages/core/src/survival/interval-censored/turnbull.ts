import {
  innermostIntervals,
  orderSample,
  type CensoredInterval,
  type InnermostInterval,
  type IntervalLikelihood,
  type OrderedSample,
} from './innermost-intervals';

/** The non-parametric maximum likelihood estimate of a distribution from interval-censored times. */
export interface TurnbullFit {
  /** Innermost intervals with the probability in each; they sum to one. The last may reach to Infinity. */
  readonly intervals: readonly (InnermostInterval & { readonly mass: number })[];
  readonly observations: number;
  readonly logLikelihood: number;
  readonly iterations: number;
  /**
   * Largest excess in the Karush-Kuhn-Tucker conditions, per observation. The log-likelihood lies at most
   * this times the number of observations below the true maximum, because the likelihood is concave.
   */
  readonly optimalityGap: number;
  readonly converged: boolean;
}

/** Log-likelihood per observation; far below anything that shows in a printed curve. */
const GAP_WANTED = 1e-9;
const MOST_ITERATIONS = 5000;

/**
 * Turnbull's estimate by the hybrid of the EM and the iterative convex minorant algorithm.
 * Each round takes one minorant step (a weighted isotonic regression, with step halving so that the likelihood
 * never falls) and one EM step, and stops only when the Karush-Kuhn-Tucker conditions hold to 1e-9.
 * Cost a round: linear in distinct observations plus innermost intervals.
 * Sources: Turnbull 1976; Groeneboom and Wellner 1992; Jongbloed 1998; Wellner and Zhan 1997.
 *
 * @param times at least one; `left` must be at least 0 and not above `right`
 * @param gapWanted when to stop, see `optimalityGap`; resampling is content with less than a single fit
 * @throws RangeError for an empty list or an interval with left > right
 */
export function turnbull(times: readonly CensoredInterval[], gapWanted = GAP_WANTED): TurnbullFit {
  if (times.length === 0) throw new RangeError('turnbull: needs at least one time');
  const wrong = times.find(({ left, right }) => !(left >= 0) || (right !== null && !(right >= left)));
  if (wrong !== undefined) throw new RangeError(`turnbull: not an interval: (${wrong.left}, ${wrong.right}]`);
  return turnbullOfOrdered(orderSample(times), new Float64Array(times.length).fill(1), gapWanted);
}

/** The same for a sample whose ends are in order already, each observation taken `counts` times. */
export function turnbullOfOrdered(
  sample: OrderedSample,
  counts: Float64Array,
  gapWanted: number,
): TurnbullFit {
  return fitMasses(innermostIntervals(sample, counts), gapWanted);
}

function fitMasses(likelihood: IntervalLikelihood, gapWanted: number): TurnbullFit {
  const size = likelihood.intervals.length;
  let masses: Float64Array = new Float64Array(size).fill(1 / size);
  let iterations = 0;
  let gap = optimalityGap(likelihood, masses);
  while (gap > gapWanted && iterations < MOST_ITERATIONS) {
    masses = emStep(likelihood, minorantStep(likelihood, masses));
    gap = optimalityGap(likelihood, masses);
    iterations++;
  }
  return {
    intervals: likelihood.intervals.map((interval, j) => ({ ...interval, mass: masses[j] ?? 0 })),
    observations: likelihood.total,
    logLikelihood: logLikelihood(likelihood, masses),
    iterations,
    optimalityGap: Math.max(0, gap),
    converged: gap <= gapWanted,
  };
}

/** Running totals of the masses: entry j is the probability before innermost interval j. */
function cumulative(masses: Float64Array): Float64Array {
  const totals = new Float64Array(masses.length + 1);
  for (let j = 0; j < masses.length; j++) totals[j + 1] = (totals[j] ?? 0) + (masses[j] ?? 0);
  return totals;
}

function probability(likelihood: IntervalLikelihood, totals: Float64Array, i: number): number {
  return (totals[(likelihood.last[i] ?? 0) + 1] ?? 0) - (totals[likelihood.first[i] ?? 0] ?? 0);
}

function logLikelihood(likelihood: IntervalLikelihood, masses: Float64Array): number {
  const totals = cumulative(masses);
  let total = 0;
  for (let i = 0; i < likelihood.count.length; i++) {
    total += (likelihood.count[i] ?? 0) * Math.log(Math.max(0, probability(likelihood, totals, i)));
  }
  return total;
}

/** Derivative of the log-likelihood in each mass, divided by the number of observations; 1 on the support at the maximum. */
function massGradient(likelihood: IntervalLikelihood, masses: Float64Array): Float64Array {
  const totals = cumulative(masses);
  const change = new Float64Array(masses.length + 1);
  for (let i = 0; i < likelihood.count.length; i++) {
    const share = (likelihood.count[i] ?? 0) / probability(likelihood, totals, i) / likelihood.total;
    const first = likelihood.first[i] ?? 0;
    const after = (likelihood.last[i] ?? 0) + 1;
    change[first] = (change[first] ?? 0) + share;
    change[after] = (change[after] ?? 0) - share;
  }
  for (let j = 1; j < change.length; j++) change[j] = (change[j] ?? 0) + (change[j - 1] ?? 0);
  return change.subarray(0, masses.length);
}

function optimalityGap(likelihood: IntervalLikelihood, masses: Float64Array): number {
  return massGradient(likelihood, masses).reduce((largest, value) => Math.max(largest, value - 1), -Infinity);
}

function emStep(likelihood: IntervalLikelihood, masses: Float64Array): Float64Array {
  const gradient = massGradient(likelihood, masses);
  const next = masses.map((mass, j) => mass * (gradient[j] ?? 0));
  const total = next.reduce((sum, mass) => sum + mass, 0);
  return next.map((mass) => mass / total);
}

/**
 * One step of the iterative convex minorant algorithm on the distribution function F at the right ends of all
 * innermost intervals but the last: a Newton step with the diagonal of the second derivatives, made monotone by
 * weighted isotonic regression, and halved until the likelihood does not fall.
 */
function minorantStep(likelihood: IntervalLikelihood, masses: Float64Array): Float64Array {
  const size = masses.length - 1;
  if (size === 0) return masses;
  const totals = cumulative(masses);
  const slope = new Float64Array(size);
  const weight = new Float64Array(size);
  for (let i = 0; i < likelihood.count.length; i++) {
    const p = probability(likelihood, totals, i);
    const count = likelihood.count[i] ?? 0;
    // F index of the right end is `last`, of the left end `first - 1`; both ends of the line are fixed.
    addTerm(slope, weight, likelihood.last[i] ?? 0, count / p, count / (p * p));
    addTerm(slope, weight, (likelihood.first[i] ?? 0) - 1, -count / p, count / (p * p));
  }
  const target = slope.map((value, j) => (totals[j + 1] ?? 0) + value / (weight[j] ?? 1));
  const proposal = massesFromCumulative(isotonic(target, weight));
  const start = logLikelihood(likelihood, masses);
  for (let length = 1; length > 1e-6; length /= 2) {
    const trial = masses.map((mass, j) => mass + length * ((proposal[j] ?? 0) - mass));
    if (logLikelihood(likelihood, trial) >= start) return trial;
  }
  return masses;
}

function addTerm(
  slope: Float64Array,
  weight: Float64Array,
  index: number,
  first: number,
  second: number,
): void {
  if (index < 0 || index >= slope.length) return;
  slope[index] = (slope[index] ?? 0) + first;
  weight[index] = (weight[index] ?? 0) + second;
}

function massesFromCumulative(distribution: Float64Array): Float64Array {
  const masses = new Float64Array(distribution.length + 1);
  let before = 0;
  for (let j = 0; j < masses.length; j++) {
    const here = j < distribution.length ? Math.min(1, Math.max(0, distribution[j] ?? 0)) : 1;
    masses[j] = here - before;
    before = here;
  }
  return masses;
}

/** Weighted least-squares fit that never falls, by pooling adjacent violators (Ayer and others 1955). */
function isotonic(target: Float64Array, weight: Float64Array): Float64Array {
  const level: number[] = [];
  const mass: number[] = [];
  const width: number[] = [];
  target.forEach((value, j) => {
    level.push(value);
    mass.push(weight[j] ?? 0);
    width.push(1);
    while (level.length > 1 && (level[level.length - 2] ?? 0) >= (level[level.length - 1] ?? 0)) {
      const [upper = 0, upperMass = 0, upperWidth = 0] = [level.pop(), mass.pop(), width.pop()];
      const at = level.length - 1;
      const total = (mass[at] ?? 0) + upperMass;
      level[at] = total === 0 ? upper : ((level[at] ?? 0) * (mass[at] ?? 0) + upper * upperMass) / total;
      mass[at] = total;
      width[at] = (width[at] ?? 0) + upperWidth;
    }
  });
  const fitted = new Float64Array(target.length);
  let j = 0;
  level.forEach((value, block) => {
    fitted.fill(value, j, (j += width[block] ?? 0));
  });
  return fitted;
}

/** Survival just after `time` and what is known of it where the curve is not defined. */
export interface SurvivalValue {
  /** Interpolated along a straight line inside an innermost interval. */
  readonly survival: number;
  /** The values at the two ends of the innermost interval around `time`; null outside all of them. */
  readonly undefinedWithin: { readonly lower: number; readonly upper: number } | null;
}

/**
 * The survival of a fitted curve at a time. Inside an innermost interval with mass the likelihood fixes only
 * the two ends; the value in between is read off the straight line that joins them, and both ends are given.
 * Inside the last interval, when it is unbounded, the value at its left end is kept.
 */
export function survivalAt(fit: Pick<TurnbullFit, 'intervals'>, time: number): SurvivalValue {
  let survival = 1;
  for (const { left, right, mass } of fit.intervals) {
    if (time >= right) {
      survival -= mass;
      continue;
    }
    if (time <= left || mass === 0) break;
    const end = Math.max(0, survival - mass);
    const undefinedWithin = { lower: end, upper: survival };
    if (right === Infinity) return { survival: Math.max(0, survival), undefinedWithin };
    return { survival: survival - (mass * (time - left)) / (right - left), undefinedWithin };
  }
  return { survival: Math.max(0, survival), undefinedWithin: null };
}

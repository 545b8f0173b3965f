import { isRefusal } from '../../numeric';
import {
  groupedIntervals,
  intervalColumns,
  orderSample,
  type CensoredInterval,
  type InnermostInterval,
  type IntervalLikelihood,
  type OrderedSample,
} from './innermost-intervals';
import { checkIntervals, countsOf, type IntervalRefusal, type IntervalTimes } from './interval-times';
import { gapOf, massGradient, placeAt, type MassPlace } from './mass-likelihood';
import { emStep, minorantStep } from './minorant-step';
import { openSupport, supportNewton } from './support-newton';

/** The non-parametric maximum likelihood estimate of a distribution from interval-censored times. */
export interface TurnbullFit {
  /** Innermost intervals with the probability in each; they sum to one. The last may reach to Infinity. */
  readonly intervals: readonly (InnermostInterval & { readonly mass: number })[];
  /** The sum of the counts. */
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
const MOST_ITERATIONS = 500;
/** Rounds of the hybrid before Newton steps begin: they find the support roughly, which takes more where there is more of it. */
const hybridRounds = (intervals: number): number => 4 + intervals / 100;

/**
 * Turnbull's estimate from columns of interval ends.
 * A few rounds of the hybrid of the EM and the iterative convex minorant algorithm find roughly where the curve
 * drops; Newton steps on those intervals, which are opened and closed as the gradient asks, then go to the maximum.
 * It stops only when the Karush-Kuhn-Tucker conditions hold to 1e-9. No step lets the likelihood fall.
 * Cost a round: linear in observations and innermost intervals, plus a sparse factorisation on the support.
 * Sources: Turnbull 1976; Wellner and Zhan 1997; Groeneboom, Jongbloed and Wellner 2008.
 *
 * @param times columns `left`, `right` (Infinity where open) and optionally `count`, in one unit
 * @param gapWanted when to stop, see `optimalityGap`
 * @returns a refusal for no times, NaN, negative or infinite left ends, left above right, wrong lengths
 */
export function turnbullCurve(times: IntervalTimes, gapWanted = GAP_WANTED): TurnbullFit | IntervalRefusal {
  const wrong = checkIntervals(times);
  if (wrong !== null) return wrong;
  return turnbullOfOrdered(orderSample(times), countsOf(times), gapWanted);
}

/**
 * The same for a list whose intervals were made inside the program.
 *
 * @param times at least one; `left` must be at least 0 and not above `right`
 * @throws RangeError where `turnbullCurve` refuses: there it would be a mistake in the program, not in the data
 */
export function turnbull(times: readonly CensoredInterval[], gapWanted = GAP_WANTED): TurnbullFit {
  const fit = turnbullCurve(intervalColumns(times), gapWanted);
  if (isRefusal(fit)) throw new RangeError(`turnbull: ${fit.message}`);
  return fit;
}

/** The same for a sample whose ends are in order already, each observation taken `counts` times. */
function turnbullOfOrdered(sample: OrderedSample, counts: ArrayLike<number>, gapWanted: number): TurnbullFit {
  const likelihood = groupedIntervals(sample, counts);
  const { place, gap, iterations } = maximumMasses(likelihood, gapWanted);
  return {
    intervals: Array.from(place.masses, (mass, j) => ({
      left: likelihood.left[j] ?? NaN,
      right: likelihood.right[j] ?? NaN,
      mass,
    })),
    observations: likelihood.total,
    logLikelihood: place.logLikelihood,
    iterations,
    optimalityGap: gap,
    converged: gap <= gapWanted,
  };
}

/** The masses that make the likelihood largest, and how nearly. */
export function maximumMasses(
  likelihood: IntervalLikelihood,
  gapWanted = GAP_WANTED,
): { readonly place: MassPlace; readonly gap: number; readonly iterations: number } {
  const size = likelihood.left.length;
  let place = placeAt(likelihood, new Float64Array(size).fill(1 / size));
  let iterations = 0;
  let full = true;
  for (; ; iterations++) {
    const gradient = massGradient(likelihood, place);
    const gap = gapOf(gradient);
    if (gap <= gapWanted && gapWanted <= GAP_WANTED)
      return { ...polished(likelihood, place, gap), iterations };
    if (gap <= gapWanted || iterations >= MOST_ITERATIONS) return { place, gap, iterations };
    if (iterations < hybridRounds(size)) place = emStep(likelihood, minorantStep(likelihood, place));
    else {
      const opened = full ? openSupport(likelihood, place, gradient, gapWanted) : place;
      ({ place, full } = supportNewton(likelihood, opened));
    }
  }
}

/** Newton steps that bring the masses, which are only right to the root of the gap, to their last digits. */
function polished(
  likelihood: IntervalLikelihood,
  start: MassPlace,
  startGap: number,
): { readonly place: MassPlace; readonly gap: number } {
  let place = start;
  let gap = startGap;
  for (let step = 0; step < POLISHING_STEPS; step++) {
    const next = supportNewton(likelihood, place).place;
    const nextGap = gapOf(massGradient(likelihood, next));
    if (!(nextGap < gap)) break;
    place = next;
    gap = nextGap;
  }
  return { place, gap };
}

const POLISHING_STEPS = 3;

import type { IntervalLikelihood } from './innermost-intervals';
import { placeAt, type MassPlace } from './mass-likelihood';
import { newtonOfF } from './stiffness';

/**
 * A Newton step on the innermost intervals that carry mass. In the distribution function F between them, each
 * observation joins two places, so the matrix of second derivatives is that of a weighted graph and nearly all of
 * it is zero; it is factored inside its skyline. A step that would make a mass negative either drops that mass or
 * is cut short, whichever raises the likelihood.
 *
 * @returns the place reached (never lower), and whether the step was taken in full: if not, another one should follow
 *   before any interval is opened
 */
export function supportNewton(
  likelihood: IntervalLikelihood,
  place: MassPlace,
): { readonly place: MassPlace; readonly full: boolean } {
  const support: number[] = [];
  place.masses.forEach((mass, j) => {
    if (mass > 0) support.push(j);
  });
  if (support.length < 2) return { place, full: true };
  const { change, promised } = newtonChange(likelihood, place, support.length);
  const trial = (length: number, keep: (mass: number, j: number) => boolean): MassPlace =>
    placeAt(likelihood, moved(place.masses, support, change, length, keep));
  let longest = 1;
  let blocking = -1;
  support.forEach((j, k) => {
    const room = -(place.masses[j] ?? 0) / (change[k] ?? 0);
    if ((change[k] ?? 0) < 0 && room < longest) {
      longest = room;
      blocking = j;
    }
  });
  const rounding = roundingOf(place);
  const all = trial(1, () => true);
  if (all.logLikelihood >= place.logLikelihood - (promised < 1e3 * rounding ? rounding : 0)) {
    return { place: all, full: true };
  }
  for (let length = longest; length > 1e-10; length /= 2) {
    const cut = trial(length, (_, j) => length < longest || j !== blocking);
    if (cut.logLikelihood > place.logLikelihood) return { place: cut, full: false };
  }
  return { place, full: true };
}

/** By how much a log-likelihood may seem to fall though it rises. */
function roundingOf(place: MassPlace): number {
  return 64 * Number.EPSILON * (1 + Math.abs(place.logLikelihood));
}

/** The masses after a step; those that would be negative become zero, and the rest is brought back to a sum of 1. */
function moved(
  masses: Float64Array,
  support: readonly number[],
  change: Float64Array,
  length: number,
  keep: (mass: number, j: number) => boolean,
): Float64Array {
  const next = new Float64Array(masses.length);
  let total = 0;
  support.forEach((j, k) => {
    const mass = (masses[j] ?? 0) + length * (change[k] ?? 0);
    if (!(mass > 0) || !keep(mass, j)) return;
    next[j] = mass;
    total += mass;
  });
  for (const j of support) next[j] = (next[j] ?? 0) / total;
  return next;
}

/** Newton's change of each mass of the support, and half the square of its decrement. */
function newtonChange(
  likelihood: IntervalLikelihood,
  place: MassPlace,
  nodes: number,
): { change: Float64Array; promised: number } {
  const { step, slope } = newtonOfF(likelihood, place);
  const change = new Float64Array(nodes);
  let promised = 0;
  for (let k = 0; k < nodes; k++) {
    change[k] = (step[k] ?? 0) - (step[k - 1] ?? 0);
    promised += ((step[k] ?? 0) * (slope[k] ?? 0)) / 2;
  }
  return { change, promised };
}

/**
 * Opens innermost intervals without mass where the likelihood would gain by some: in each run of empty intervals
 * the one with the largest gradient, if that is above 1. Their masses come from one step along the line towards
 * them. Source: the directional derivatives of Groeneboom, Jongbloed and Wellner 2008.
 */
export function openSupport(
  likelihood: IntervalLikelihood,
  place: MassPlace,
  gradient: Float64Array,
  gapWanted: number,
): MassPlace {
  const openings = openingsIn(place.masses, gradient, gapWanted);
  if (openings.length === 0) return place;
  const towards = new Float64Array(place.masses.length);
  let excess = 0;
  for (const j of openings) excess += (gradient[j] ?? 0) - 1;
  let slope = 0;
  for (const j of openings) {
    const weight = ((gradient[j] ?? 0) - 1) / excess;
    towards[j] = weight;
    slope += weight * ((gradient[j] ?? 0) - 1) * likelihood.total;
  }
  const target = placeAt(likelihood, towards);
  let curvature = 0;
  for (let i = 0; i < likelihood.count.length; i++) {
    curvature +=
      (likelihood.count[i] ?? 0) * ((target.probability[i] ?? 0) / (place.probability[i] ?? 0) - 1) ** 2;
  }
  const rounding = roundingOf(place);
  for (let length = Math.min(0.5, slope / curvature); length > 1e-14; length /= 4) {
    const trial = placeAt(
      likelihood,
      place.masses.map((mass, j) => (1 - length) * mass + length * (towards[j] ?? 0)),
    );
    const allowed = length * slope < 1e3 * rounding ? rounding : 0;
    if (trial.logLikelihood >= place.logLikelihood - allowed) return trial;
  }
  return place;
}

function openingsIn(masses: Float64Array, gradient: Float64Array, gapWanted: number): number[] {
  const openings: number[] = [];
  let best = -1;
  for (let j = 0; j <= masses.length; j++) {
    if (j === masses.length || (masses[j] ?? 0) > 0) {
      if (best >= 0) openings.push(best);
      best = -1;
      continue;
    }
    const here = gradient[j] ?? 0;
    if (here > 1 + gapWanted / 2 && (best < 0 || here > (gradient[best] ?? 0))) best = j;
  }
  return openings;
}

import type { IntervalLikelihood } from './innermost-intervals';
import { massGradient, placeAt, type MassPlace } from './mass-likelihood';

/** One step of the EM algorithm (Turnbull 1976); the likelihood never falls. */
export function emStep(likelihood: IntervalLikelihood, place: MassPlace): MassPlace {
  const gradient = massGradient(likelihood, place);
  const next = place.masses.map((mass, j) => mass * (gradient[j] ?? 0));
  let total = 0;
  for (let j = 0; j < next.length; j++) total += next[j] ?? 0;
  return placeAt(
    likelihood,
    next.map((mass) => mass / total),
  );
}

/**
 * One step of the iterative convex minorant algorithm on the distribution function F at the right ends of all
 * innermost intervals but the last: a Newton step with the diagonal of the second derivatives, made monotone by
 * weighted isotonic regression, and halved until the likelihood does not fall.
 * Sources: Groeneboom and Wellner 1992; Jongbloed 1998.
 */
export function minorantStep(likelihood: IntervalLikelihood, place: MassPlace): MassPlace {
  const { masses, probability } = place;
  const size = masses.length - 1;
  if (size === 0) return place;
  const slope = new Float64Array(size);
  const weight = new Float64Array(size);
  for (let i = 0; i < likelihood.count.length; i++) {
    const p = probability[i] ?? 0;
    const first = (likelihood.count[i] ?? 0) / p;
    // F index of the right end is `last`, of the left end `first - 1`; both ends of the line are fixed.
    const right = likelihood.last[i] ?? 0;
    const left = (likelihood.first[i] ?? 0) - 1;
    if (right < size) {
      slope[right] = (slope[right] ?? 0) + first;
      weight[right] = (weight[right] ?? 0) + first / p;
    }
    if (left >= 0) {
      slope[left] = (slope[left] ?? 0) - first;
      weight[left] = (weight[left] ?? 0) + first / p;
    }
  }
  const target = new Float64Array(size);
  let before = 0;
  for (let j = 0; j < size; j++) {
    before += masses[j] ?? 0;
    target[j] = before + (slope[j] ?? 0) / (weight[j] ?? 1);
  }
  const proposal = massesFromCumulative(isotonic(target, weight));
  for (let length = 1; length > 1e-6; length /= 2) {
    const trial = placeAt(
      likelihood,
      masses.map((mass, j) => mass + length * ((proposal[j] ?? 0) - mass)),
    );
    if (trial.logLikelihood >= place.logLikelihood) return trial;
  }
  return place;
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
  const level = new Float64Array(target.length);
  const mass = new Float64Array(target.length);
  const width = new Int32Array(target.length);
  let blocks = 0;
  for (let j = 0; j < target.length; j++) {
    let value = target[j] ?? 0;
    let total = weight[j] ?? 0;
    let size = 1;
    while (blocks > 0 && (level[blocks - 1] ?? 0) >= value) {
      blocks--;
      const joined = total + (mass[blocks] ?? 0);
      value = (value * total + (level[blocks] ?? 0) * (mass[blocks] ?? 0)) / joined;
      total = joined;
      size += width[blocks] ?? 0;
    }
    level[blocks] = value;
    mass[blocks] = total;
    width[blocks++] = size;
  }
  const fitted = new Float64Array(target.length);
  let j = 0;
  for (let block = 0; block < blocks; block++) {
    fitted.fill(level[block] ?? 0, j, (j += width[block] ?? 0));
  }
  return fitted;
}

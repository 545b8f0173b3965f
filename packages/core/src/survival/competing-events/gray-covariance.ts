import { inflatedOf, type GrayMoments } from './gray-scores';
import { countVariance } from './incidence-variance';

/**
 * Adds the covariance of the scores of one stratum, were all groups of one cumulative incidence F, by the delta method
 * on the counts of each group. With Q = Y / S(t-), in a group and in all, score r moves with group g through
 * a_rg = weight (Q_r (r = g) - Q_r Q_g / Q). An event in group g at time u moves it S(u-) / Y times:
 * - for the cause: a_rg(u) + (1 - (1 - F(u)) / S(u)) L_rg(u);
 * - for any other: -(1 - F(u)) / S(u) L_rg(u);
 *
 * where L_rg(u) sums a_rg dF / (1 - F(t-)) over later times t. So times are gone through backwards.
 * Source: Gray 1988, with its hypergeometric corrections for ties.
 *
 * @param covariance row by row; changed in place
 */
export function addGrayCovariance(covariance: Float64Array, moments: GrayMoments): void {
  const { groups, size, events, inflated, pooledBefore } = moments;
  const later = new Float64Array(groups * groups);
  const now = new Float64Array(groups * groups);
  for (let m = size - 1; m >= 0; m--) {
    fillEffects(now, moments, m);
    for (let g = 0; g < groups; g++) addGroup(covariance, moments, m, g, now, later);
    const left = (inflated[m] ?? NaN) * (1 - (pooledBefore[m] ?? NaN));
    const rise = left === 0 ? 0 : (events[m] ?? NaN) / left;
    for (let cell = 0; cell < later.length; cell++) add(later, cell, rise * (now[cell] ?? NaN));
  }
}

/** a_rg at time m. */
function fillEffects(now: Float64Array, moments: GrayMoments, m: number): void {
  const { groups, atRisk, survivalBefore } = moments;
  const weight = moments.weight[m] ?? NaN;
  const total = moments.inflated[m] ?? NaN;
  for (let r = 0; r < groups; r++) {
    const row = m * groups + r;
    const own = weight * inflatedOf(atRisk[row] ?? NaN, survivalBefore[row] ?? NaN);
    for (let g = 0; g < groups; g++) {
      const cell = m * groups + g;
      const share = inflatedOf(atRisk[cell] ?? NaN, survivalBefore[cell] ?? NaN) / total;
      now[r * groups + g] = own * ((r === g ? 1 : 0) - share);
    }
  }
}

/** What the counts of group g at time m add to the covariance of all scores. */
function addGroup(
  covariance: Float64Array,
  moments: GrayMoments,
  m: number,
  g: number,
  now: Float64Array,
  later: Float64Array,
): void {
  const cell = m * moments.groups + g;
  const n = moments.atRisk[cell] ?? NaN;
  if (n === 0) return;
  const before = moments.survivalBefore[cell] ?? NaN;
  const after = moments.survival[cell] ?? NaN;
  const events = moments.events[m] ?? NaN;
  const others = moments.otherEvents[cell] ?? NaN;
  // With nobody of the group left, nothing later depends on it.
  const ratio = after > 0 ? (1 - (moments.pooled[m] ?? NaN)) / after : 0;
  if (events > 0) {
    // Events of all groups inform the hazard of group g, as if so many of its own had been at risk.
    const informing = (moments.inflated[m] ?? NaN) * before;
    const scale = (before * before * informing * countVariance(events, informing)) / n;
    addProducts(covariance, scale, g, now, later, 1 - ratio);
  }
  if (others > 0) addProducts(covariance, before * before * countVariance(others, n), g, null, later, ratio);
}

/** Adds scale x x', with x the column g of `now` and `factor` times that of `later`. */
function addProducts(
  covariance: Float64Array,
  scale: number,
  g: number,
  now: Float64Array | null,
  later: Float64Array,
  factor: number,
): void {
  const groups = Math.sqrt(later.length);
  for (let r = 0; r < groups; r++) {
    const effect = (now?.[r * groups + g] ?? 0) + factor * (later[r * groups + g] ?? NaN);
    for (let q = 0; q < groups; q++) {
      const other = (now?.[q * groups + g] ?? 0) + factor * (later[q * groups + g] ?? NaN);
      add(covariance, r * groups + q, scale * effect * other);
    }
  }
}

function add(totals: Float64Array, place: number, amount: number): void {
  totals[place] = (totals[place] ?? 0) + amount;
}

import { describe, expect, it } from 'vitest';
import { createRandom, designMatrix } from '../../numeric';
import { sortCoxRows, type CoxRows } from './cox-rows';
import { partialLikelihood } from './partial-likelihood';
import { linearPredictors, visitRiskSets } from './risk-sets';

/** Sixty invented rows, some entering late; one of those who do has a covariate far from the others. */
function drawn(far: number): {
  rows: CoxRows;
  time: number[];
  entry: number[];
  event: number[];
  x: number[];
} {
  const random = createRandom(9);
  const time = Array.from({ length: 60 }, () => 1 + random.integer(30));
  const entry = time.map((end, i) => (i % 3 === 0 ? end - 1 : 0));
  const event = time.map((_, i) => (i % 4 === 0 ? 0 : 1));
  const x = time.map(() => random.normal());
  time[0] = 31;
  entry[0] = 29;
  x[0] = far;
  const design = designMatrix([{ kind: 'numeric', name: 'x', values: x }], 60, { intercept: false });
  if ('refused' in design) throw new Error(design.message);
  const rows = sortCoxRows({ time, event, entry, weights: null, strata: null }, design);
  return { rows, time, entry, event, x };
}

/** Breslow's log-likelihood with each risk set looked up and added by log-sum-exp. */
function slow({ time, entry, event, x }: ReturnType<typeof drawn>, coefficient: number): number {
  return time.reduce((total, now, i) => {
    if (event[i] !== 1) return total;
    const atRisk = x
      .filter((_, j) => (entry[j] ?? 0) < now && (time[j] ?? 0) >= now)
      .map((value) => coefficient * value);
    const highest = Math.max(...atRisk);
    const sum = atRisk.reduce((s, predictor) => s + Math.exp(predictor - highest), 0);
    return total + coefficient * (x[i] ?? 0) - highest - Math.log(sum);
  }, 0);
}

describe('the sweep over risk sets', () => {
  it.each([
    ['a hazard ratio of e^40 leaves with the row that had it, without its rounding', 40, 1],
    ['a hazard ratio of e^-40 is lost in nothing', -40, 1],
    ['hazards that overflow a number are told from each other', 3, 900],
    ['hazards that underflow a number are told from each other', 3, -900],
  ])('%s', (_, far, coefficient) => {
    const sample = drawn(far);
    const { rows } = sample;
    const inner = [coefficient * (rows.scale[0] ?? 1)];
    const { logLikelihood } = partialLikelihood(rows, inner, 'breslow');
    const expected = slow(sample, coefficient);
    expect(Math.abs(logLikelihood / expected - 1)).toBeLessThan(1e-11);
  });

  it('shows each event time once, from the latest, with those at risk and their sums', () => {
    const { rows, time, entry, event } = drawn(0);
    const seen: number[] = [];
    visitRiskSets(rows, linearPredictors(rows, [0]), 0, (set) => {
      seen.push(set.time);
      const atRisk = time.filter((end, i) => (entry[i] ?? 0) < set.time && end >= set.time).length;
      expect(set.atRisk).toBe(atRisk);
      expect(set.sum0 * Math.exp(set.shift)).toBeCloseTo(atRisk, 10);
      expect(set.events).toBe(time.filter((end, i) => end === set.time && event[i] === 1).length);
    });
    const times = [...new Set(time.filter((_, i) => event[i] === 1))].sort((a, b) => b - a);
    expect(seen).toEqual(times);
  });
});

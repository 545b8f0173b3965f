import { chiSquaredUpperTail, refuse, risingOrder, type Refusal } from '../../numeric';
import type { CoxFit } from './cox-fit';
import type { CoxRows } from './cox-rows';
import { fullMatrix, tiedParts } from './partial-likelihood';
import { linearPredictors, visitRiskSets } from './risk-sets';
import { inverse, quadraticForm } from './robust-covariance';

/**
 * The function of time along which a coefficient is asked to drift: `km` is 1 - Kaplan-Meier just before the time
 * (it spreads the events evenly, and no late event weighs too much; the default), `rank` the rank among all times.
 */
export type TimeTransform = 'km' | 'rank' | 'identity' | 'log';

/** Tests of proportional hazards along one function of time. */
export interface ProportionalHazardsTest {
  readonly transform: TimeTransform;
  /** One for each covariate, a factor as a whole, in the order of the model. */
  readonly terms: readonly (ProportionalityTest & { readonly name: string })[];
  /** All coefficients together. */
  readonly global: ProportionalityTest;
}

/** One of them. */
export interface ProportionalityTest {
  /** Chi-squared under proportional hazards; null where the events can't tell (for instance too few of them). */
  readonly statistic: number | null;
  readonly df: number;
  readonly pValue: number | null;
}

/** Why there is no test. */
export type ProportionalityRefusal = Refusal<'infinite-coefficient' | 'one-event-time' | 'event-at-zero'>;

/**
 * Tests whether hazards are proportional: the score test of c in a coefficient b + c g(t), with the full information
 * at every event time rather than its average.
 * Sources: Grambsch and Therneau 1994 (the test); Therneau and Grambsch 2000, section 6.2; Cox 1972 (x g(t)).
 */
export function proportionalHazardsTest(
  fit: CoxFit,
  transform: TimeTransform = 'km',
): ProportionalHazardsTest | ProportionalityRefusal {
  const { sorted, terms } = fit.model;
  if (fit.covariance === null) {
    return refuse('infinite-coefficient', `Proportional hazards can't be tested. ${fit.warning ?? ''}`);
  }
  const transformed = transformedTimes(sorted, transform);
  if ('refused' in transformed) return transformed;
  const { score, information } = driftScore(fit, transformed);
  const size = sorted.columns;
  const test = (columns: readonly number[]): ProportionalityTest => {
    const part = Float64Array.from(columns, (j) => score[j] ?? 0);
    const block = new Float64Array(columns.length * columns.length);
    columns.forEach((row, r) => {
      columns.forEach((column, c) => (block[r * columns.length + c] = information[row * size + column] ?? 0));
    });
    const statistic = quadraticForm(block, part);
    const pValue = statistic === null ? null : chiSquaredUpperTail(statistic, columns.length);
    return { statistic, df: columns.length, pValue };
  };
  const range = (first: number, count: number): number[] =>
    Array.from({ length: count }, (_, i) => first + i);
  return {
    transform,
    terms: terms.map(({ name, firstColumn, columns }) => ({ name, ...test(range(firstColumn, columns)) })),
    global: test(range(0, size)),
  };
}

/** First derivatives for c at c = 0, and their information when b is estimated along with c. */
function driftScore(
  fit: CoxFit,
  transformed: TransformedTimes,
): { score: Float64Array; information: Float64Array } {
  const { sorted, maximum } = fit.model;
  const { columns, covariates, event, weight } = sorted;
  const score = new Float64Array(columns);
  const triangles = [0, 1, 2].map(() => new Float64Array((columns * (columns + 1)) / 2));
  const mean = new Float64Array(columns);
  const predictors = linearPredictors(sorted, maximum.coefficients);
  visitRiskSets(sorted, predictors, 2, (set) => {
    const g = transformed.at(set.first);
    for (let k = set.first; k < set.end; k++) {
      if (event[k] !== 1) continue;
      for (let j = 0; j < columns; j++) {
        score[j] = (score[j] ?? 0) + g * (weight[k] ?? 0) * (covariates[k * columns + j] ?? 0);
      }
    }
    const { parts, partWeight } = tiedParts(set, fit.ties);
    for (let part = 0; part < parts; part++) {
      const removed = part / parts;
      const sum = set.sum0 - removed * set.tied0;
      let cell = 0;
      for (let j = 0; j < columns; j++) {
        const average = ((set.sum1[j] ?? 0) - removed * (set.tied1[j] ?? 0)) / sum;
        mean[j] = average;
        score[j] = (score[j] ?? 0) - g * partWeight * average;
        for (let i = 0; i <= j; i++, cell++) {
          const square = ((set.sum2[cell] ?? 0) - removed * (set.tied2[cell] ?? 0)) / sum;
          const spread = partWeight * (square - average * (mean[i] ?? 0));
          triangles.forEach((triangle, power) => {
            triangle[cell] = (triangle[cell] ?? 0) + g ** power * spread;
          });
        }
      }
    }
  });
  const [own, mixed, drifting] = triangles.map((triangle) => fullMatrix(triangle, columns));
  return { score, information: lessExplained(own, mixed, drifting, columns) };
}

/** C - B A^-1 B for symmetric matrices. */
function lessExplained(
  a: Float64Array = new Float64Array(),
  b: Float64Array = a,
  c: Float64Array = a,
  size = 0,
): Float64Array {
  const inverted = inverse(a, size) ?? new Float64Array(size * size);
  return c.map((value, cell) => {
    const row = Math.floor(cell / size);
    const column = cell % size;
    let explained = 0;
    for (let i = 0; i < size; i++) {
      for (let j = 0; j < size; j++) {
        explained += (b[row * size + i] ?? 0) * (inverted[i * size + j] ?? 0) * (b[j * size + column] ?? 0);
      }
    }
    return value - explained;
  });
}

interface TransformedTimes {
  /** g at the time of a place, less its mean over the events, in units of its spread there. */
  at(place: number): number;
}

function transformedTimes(
  sorted: CoxRows,
  transform: TimeTransform,
): TransformedTimes | ProportionalityRefusal {
  const events = Array.from(sorted.event.keys()).filter((place) => sorted.event[place] === 1);
  if (transform === 'log' && events.some((place) => sorted.time[place] === 0)) {
    return refuse('event-at-zero', 'An event at time 0 has no logarithm; choose another transform.');
  }
  const values = timesOnScale(sorted, transform);
  const mean = events.reduce((sum, place) => sum + (values[place] ?? 0), 0) / events.length;
  const spread = Math.max(...events.map((place) => Math.abs((values[place] ?? 0) - mean)));
  if (!(spread > 0)) {
    return refuse(
      'one-event-time',
      'All events happen at one time, so no drift over time can be seen; proportional hazards need events at several times.',
    );
  }
  return { at: (place) => ((values[place] ?? 0) - mean) / spread };
}

function timesOnScale(sorted: CoxRows, transform: TimeTransform): Float64Array {
  switch (transform) {
    case 'identity':
      return sorted.time;
    case 'log':
      return sorted.time.map(Math.log);
    case 'rank':
      return midRanks(sorted.time);
    case 'km':
      return lostJustBefore(sorted);
  }
}

function midRanks(times: Float64Array): Float64Array {
  const ranks = new Float64Array(times.length);
  const order = risingOrder(times);
  for (let k = 0; k < order.length;) {
    const from = k;
    const value = times[order[k] ?? 0];
    while (k < order.length && times[order[k] ?? 0] === value) k++;
    for (let i = from; i < k; i++) ranks[order[i] ?? 0] = (from + 1 + k) / 2;
  }
  return ranks;
}

/** 1 - Kaplan-Meier just before each row's time, all strata together, every row counted once. */
function lostJustBefore({ time, entry, event }: CoxRows): Float64Array {
  const lost = new Float64Array(time.length);
  const order = risingOrder(time);
  const entries = entry === null ? null : entry.slice().sort();
  let entered = entries === null ? time.length : 0;
  let survival = 1;
  for (let k = 0; k < order.length;) {
    const from = k;
    const now = time[order[k] ?? 0] ?? NaN;
    while (entries !== null && entered < entries.length && (entries[entered] ?? 0) < now) entered++;
    const atRisk = entered - from;
    let events = 0;
    for (; k < order.length && time[order[k] ?? 0] === now; k++) {
      lost[order[k] ?? 0] = 1 - survival;
      events += event[order[k] ?? 0] ?? 0;
    }
    if (atRisk > 0) survival *= 1 - events / atRisk;
  }
  return lost;
}

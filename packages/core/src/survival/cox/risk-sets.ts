import type { CoxRows } from './cox-rows';

/** How events at the same time are dealt with. Sources: Efron 1977; Breslow 1974. */
export type CoxTies = 'efron' | 'breslow';

/**
 * What the partial likelihood needs to know about one event time of one stratum. With r = w exp(x'b - shift):
 * `sum0`, `sum1`, `sum2` are the sums of r, r x and r x x' over the risk set, `tied0` to `tied2` the same over the
 * events of this time. One object is filled anew for each visit; nothing of it may be kept.
 */
export interface RiskSet {
  stratum: number;
  time: number;
  /** Places of the rows with this time: from `first` up to, not including, `end`. */
  first: number;
  end: number;
  atRisk: number;
  events: number;
  /** Sum of the weights of the events. */
  eventWeight: number;
  /** Taken from every linear predictor, so that no exponential is infinite. */
  shift: number;
  sum0: number;
  readonly sum1: Float64Array;
  /** Lower triangle, row by row. */
  readonly sum2: Float64Array;
  tied0: number;
  readonly tied1: Float64Array;
  readonly tied2: Float64Array;
}

/** The linear predictors x'b of all places; `coefficients` on the scale of the standardised covariates. */
export function linearPredictors(rows: CoxRows, coefficients: ArrayLike<number>): Float64Array {
  const { columns, covariates } = rows;
  const predictors = new Float64Array(rows.rows);
  for (let k = 0, at = 0; k < predictors.length; k++) {
    let sum = 0;
    for (let j = 0; j < columns; j++) sum += (covariates[at++] ?? 0) * (coefficients[j] ?? 0);
    predictors[k] = sum;
  }
  return predictors;
}

/** Linear predictors this far above the shift move it. exp(30) leaves room for any number of them. */
const FAR_ABOVE = 30;
/** A sum that has fallen to this share of its peak is added up anew, for what was taken away has left its rounding. */
const MOSTLY_GONE = 1e-4;

/**
 * Goes through the event times of each stratum from the latest to the earliest and shows each risk set once:
 * O(rows * columns^2) however many events there are. A row is at risk at t when entry < t <= time.
 *
 * @param moments 0: only the sums of r; 1: also of r x; 2: also of r x x'
 */
export function visitRiskSets(
  rows: CoxRows,
  predictors: Float64Array,
  moments: 0 | 1 | 2,
  visit: (set: RiskSet) => void,
): void {
  const set = emptyRiskSet(rows.columns);
  for (let stratum = 0; stratum + 1 < rows.strataStarts.length; stratum++) {
    visitStratum(rows, predictors, moments, stratum, set, visit);
  }
}

function emptyRiskSet(columns: number): RiskSet {
  const triangle = (columns * (columns + 1)) / 2;
  return {
    stratum: 0,
    time: 0,
    first: 0,
    end: 0,
    atRisk: 0,
    events: 0,
    eventWeight: 0,
    shift: 0,
    sum0: 0,
    sum1: new Float64Array(columns),
    sum2: new Float64Array(triangle),
    tied0: 0,
    tied1: new Float64Array(columns),
    tied2: new Float64Array(triangle),
  };
}

function visitStratum(
  rows: CoxRows,
  predictors: Float64Array,
  moments: 0 | 1 | 2,
  stratum: number,
  set: RiskSet,
  visit: (set: RiskSet) => void,
): void {
  const { time, event, weight, entry, entryOrder, strataStarts } = rows;
  const start = strataStarts[stratum] ?? 0;
  const stop = strataStarts[stratum + 1] ?? 0;
  set.stratum = stratum;
  set.atRisk = 0;
  let shift = predictors[start] ?? 0;
  set.shift = shift;
  clear(set);
  let peak = 0;
  let leaving = start;
  for (let k = start; k < stop;) {
    const now = time[k] ?? NaN;
    set.first = k;
    let events = 0;
    let eventWeight = 0;
    let sum0 = set.sum0;
    for (; k < stop && time[k] === now; k++) {
      const predictor = predictors[k] ?? 0;
      if (predictor > shift + FAR_ABOVE) {
        peak *= Math.exp(shift - predictor);
        set.sum0 = sum0;
        reshift(set, predictor);
        ({ sum0, shift } = set);
      }
      const w = weight[k] ?? 0;
      const risk = w * Math.exp(predictor - shift);
      sum0 += risk;
      if (moments > 0) addMoments(rows, moments, k, risk, set.sum1, set.sum2);
      if (event[k] === 1) {
        events++;
        eventWeight += w;
      }
    }
    set.sum0 = sum0;
    set.events = events;
    set.eventWeight = eventWeight;
    set.end = k;
    if (events === 0) continue;
    if (entry !== null && entryOrder !== null) {
      const before = leaving;
      peak = Math.max(peak, set.sum0);
      for (; leaving < k && (entry[entryOrder[leaving] ?? 0] ?? 0) >= now; leaving++) {
        addRow(rows, predictors, moments, entryOrder[leaving] ?? 0, -1, set);
      }
      set.atRisk = k - leaving;
      if (leaving > before && set.sum0 < MOSTLY_GONE * peak) {
        addAnew(rows, predictors, moments, start, set, now);
        peak = set.sum0;
        shift = set.shift;
      }
    } else {
      set.atRisk = k - start;
    }
    set.time = now;
    addTied(rows, predictors, moments, set);
    visit(set);
  }
}

function clear(set: RiskSet): void {
  set.sum0 = 0;
  set.sum1.fill(0);
  set.sum2.fill(0);
}

/** Expresses the sums by another shift. */
function reshift(set: RiskSet, shift: number): void {
  const factor = Math.exp(set.shift - shift);
  set.sum0 *= factor;
  for (let j = 0; j < set.sum1.length; j++) set.sum1[j] = (set.sum1[j] ?? 0) * factor;
  for (let j = 0; j < set.sum2.length; j++) set.sum2[j] = (set.sum2[j] ?? 0) * factor;
  set.shift = shift;
}

function addRow(
  rows: CoxRows,
  predictors: Float64Array,
  moments: 0 | 1 | 2,
  place: number,
  sign: 1 | -1,
  set: RiskSet,
): void {
  const risk = sign * (rows.weight[place] ?? 0) * Math.exp((predictors[place] ?? 0) - set.shift);
  set.sum0 += risk;
  if (moments > 0) addMoments(rows, moments, place, risk, set.sum1, set.sum2);
}

function addMoments(
  { columns, covariates }: CoxRows,
  moments: 0 | 1 | 2,
  place: number,
  risk: number,
  sum1: Float64Array,
  sum2: Float64Array,
): void {
  const from = place * columns;
  let cell = 0;
  for (let j = 0; j < columns; j++) {
    const share = risk * (covariates[from + j] ?? 0);
    sum1[j] = (sum1[j] ?? 0) + share;
    if (moments === 1) continue;
    for (let i = 0; i <= j; i++) {
      sum2[cell] = (sum2[cell] ?? 0) + share * (covariates[from + i] ?? 0);
      cell++;
    }
  }
}

/** The sums from the rows themselves: those met so far that entered before `now`. */
function addAnew(
  rows: CoxRows,
  predictors: Float64Array,
  moments: 0 | 1 | 2,
  start: number,
  set: RiskSet,
  now: number,
): void {
  clear(set);
  const atRisk = (place: number): boolean => (rows.entry?.[place] ?? -Infinity) < now;
  let highest = -Infinity;
  for (let k = start; k < set.end; k++) {
    if (atRisk(k)) highest = Math.max(highest, predictors[k] ?? 0);
  }
  set.shift = highest;
  for (let k = start; k < set.end; k++) {
    if (atRisk(k)) addRow(rows, predictors, moments, k, 1, set);
  }
}

function addTied(rows: CoxRows, predictors: Float64Array, moments: 0 | 1 | 2, set: RiskSet): void {
  // A lone event is never shared out among tied ones, and most need no clearing either.
  if (set.tied0 !== 0) {
    set.tied0 = 0;
    set.tied1.fill(0);
    set.tied2.fill(0);
  }
  if (set.events < 2) return;
  for (let k = set.first; k < set.end; k++) {
    if (rows.event[k] !== 1) continue;
    const risk = (rows.weight[k] ?? 0) * Math.exp((predictors[k] ?? 0) - set.shift);
    set.tied0 += risk;
    if (moments > 0) addMoments(rows, moments, k, risk, set.tied1, set.tied2);
  }
}

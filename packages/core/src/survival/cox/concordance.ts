import { refuse, risingOrder, type Refusal } from '../../numeric';
import type { CoxFit } from './cox-fit';
import type { CoxRows } from './cox-rows';
import { linearPredictors } from './risk-sets';

/** Pairs are counted with the product of their weights. */
export interface Concordance {
  /** Share of comparable pairs in which the higher predicted hazard had the event first; equal predictions count half. */
  readonly estimate: number;
  /** By the infinitesimal jackknife, over clusters where the fit has them. */
  readonly standardError: number;
  readonly concordant: number;
  readonly discordant: number;
  /** Comparable pairs with equal predictions. */
  readonly tiedPredictions: number;
  /** Pairs with events at the same time and different predictions; not comparable. */
  readonly tiedTimes: number;
  /** Pairs with events at the same time and equal predictions; not comparable. */
  readonly tiedBoth: number;
}

/**
 * Harrell's concordance of a fit: of all pairs within a stratum of which one had an event while the other was at
 * risk, how often the model ranks them rightly. One censored at the time of an event outlived it.
 * Cost O(rows log rows). Sources: Harrell, Califf, Pryor, Lee and Rosati 1982; Therneau and Watson 2015 (standard error).
 */
export function concordance({ model }: CoxFit): Concordance | Refusal<'no-pairs'> {
  const { sorted, maximum, clusters } = model;
  const predictors = linearPredictors(sorted, maximum.coefficients);
  const tally = emptyTally(sorted.rows);
  for (let stratum = 0; stratum + 1 < sorted.strataStarts.length; stratum++) {
    countStratum(sorted, predictors, stratum, tally);
  }
  const pairs = tally.concordant + tally.discordant + tally.tiedPredictions;
  if (!(pairs > 0)) {
    return refuse(
      'no-pairs',
      'No event happened while somebody else of the stratum was at risk, so no pair can be compared.',
    );
  }
  const estimate = (tally.concordant + tally.tiedPredictions / 2) / pairs;
  const influence = new Float64Array(clusters.count);
  for (let k = 0; k < sorted.rows; k++) {
    const cluster = clusters.numbers[sorted.order[k] ?? 0] ?? 0;
    const excess = (tally.right[k] ?? 0) - estimate * (tally.compared[k] ?? 0);
    influence[cluster] = (influence[cluster] ?? 0) + ((sorted.weight[k] ?? 0) * excess) / pairs;
  }
  const { concordant, discordant, tiedPredictions, tiedTimes, tiedBoth } = tally;
  return {
    estimate,
    standardError: Math.sqrt(influence.reduce((sum, value) => sum + value * value, 0)),
    concordant,
    discordant,
    tiedPredictions,
    tiedTimes,
    tiedBoth,
  };
}

interface Tally {
  concordant: number;
  discordant: number;
  tiedPredictions: number;
  tiedTimes: number;
  tiedBoth: number;
  /** For each place the weight of the others it was compared with, and of those where the model was right. */
  readonly compared: Float64Array;
  readonly right: Float64Array;
}

function emptyTally(rows: number): Tally {
  return {
    concordant: 0,
    discordant: 0,
    tiedPredictions: 0,
    tiedTimes: 0,
    tiedBoth: 0,
    compared: new Float64Array(rows),
    right: new Float64Array(rows),
  };
}

/** One stratum: its places, and the rank of each one's prediction from 1 on, equal predictions sharing a rank. */
interface RankedStratum {
  readonly rows: CoxRows;
  readonly first: number;
  readonly end: number;
  readonly ranks: Uint32Array;
  readonly tree: WeightTree;
}

function countStratum(rows: CoxRows, predictors: Float64Array, stratum: number, tally: Tally): void {
  const first = rows.strataStarts[stratum] ?? 0;
  const end = rows.strataStarts[stratum + 1] ?? 0;
  const { ranks, largest } = denseRanks(predictors.subarray(first, end));
  countFromTheEnd({ rows, first, end, ranks, tree: weightTree(largest) }, tally);
  countFromTheStart({ rows, first, end, ranks, tree: weightTree(largest) }, tally);
}

function denseRanks(values: Float64Array): { ranks: Uint32Array; largest: number } {
  const ranks = new Uint32Array(values.length);
  let largest = 0;
  let last = NaN;
  for (const i of risingOrder(values)) {
    const value = values[i] ?? NaN;
    if (value !== last) largest++;
    last = value;
    ranks[i] = largest;
  }
  return { ranks, largest };
}

/** Each event against those who were at risk and had no event at its time. */
function countFromTheEnd({ rows, first, end, ranks, tree }: RankedStratum, tally: Tally): void {
  const { time, event, weight, entry, entryOrder } = rows;
  const rankOf = (place: number): number => ranks[place - first] ?? 0;
  let leaving = first;
  for (let k = first; k < end;) {
    const from = k;
    const now = time[k] ?? NaN;
    for (; k < end && time[k] === now; k++) {
      if (event[k] !== 1) tree.add(rankOf(k), weight[k] ?? 0);
    }
    for (; entry && entryOrder && leaving < k && (entry[entryOrder[leaving] ?? 0] ?? 0) >= now; leaving++) {
      const place = entryOrder[leaving] ?? 0;
      tree.add(rankOf(place), -(weight[place] ?? 0));
    }
    let events = 0;
    for (let i = from; i < k; i++) {
      if (event[i] !== 1) continue;
      const own = weight[i] ?? 0;
      const { below, equal, above } = tree.around(rankOf(i));
      tally.concordant += own * below;
      tally.tiedPredictions += own * equal;
      tally.discordant += own * above;
      addTo(tally.compared, i, below + equal + above);
      addTo(tally.right, i, below + equal / 2);
      events++;
    }
    for (let i = from; i < k; i++) if (event[i] === 1) tree.add(rankOf(i), weight[i] ?? 0);
    if (events > 1) countTiedTimes(rows, from, k, rankOf, tally);
  }
}

/** Pairs of events among the places of one time. */
function countTiedTimes(
  { event, weight }: CoxRows,
  from: number,
  end: number,
  rankOf: (place: number) => number,
  tally: Tally,
): void {
  const byRank = new Map<number, { sum: number; squares: number }>();
  let sum = 0;
  let squares = 0;
  for (let i = from; i < end; i++) {
    if (event[i] !== 1) continue;
    const own = weight[i] ?? 0;
    const same = byRank.get(rankOf(i)) ?? { sum: 0, squares: 0 };
    byRank.set(rankOf(i), { sum: same.sum + own, squares: same.squares + own * own });
    sum += own;
    squares += own * own;
  }
  let both = 0;
  for (const same of byRank.values()) both += (same.sum * same.sum - same.squares) / 2;
  tally.tiedBoth += both;
  tally.tiedTimes += (sum * sum - squares) / 2 - both;
}

/** Each row against the events that happened while it was at risk. */
function countFromTheStart({ rows, first, end, ranks, tree }: RankedStratum, tally: Tally): void {
  const { time, event, weight, entry, entryOrder } = rows;
  let entering = end - 1;
  for (let k = end - 1; k >= first;) {
    const from = k;
    const now = time[k] ?? NaN;
    // Whoever enters before now is not compared with the events so far.
    for (; entry && entryOrder && entering >= first; entering--) {
      const place = entryOrder[entering] ?? 0;
      if ((entry[place] ?? 0) >= now) break;
      compare(place, -1);
    }
    for (; k >= first && time[k] === now; k--) if (event[k] === 1) compare(k, 1);
    for (let i = from; i > k; i--) if (event[i] === 1) tree.add(ranks[i - first] ?? 0, weight[i] ?? 0);
    for (let i = from; i > k; i--) if (event[i] !== 1) compare(i, 1);
  }

  function compare(place: number, sign: 1 | -1): void {
    const { below, equal, above } = tree.around(ranks[place - first] ?? 0);
    addTo(tally.compared, place, sign * (below + equal + above));
    addTo(tally.right, place, sign * (above + equal / 2));
  }
}

function addTo(values: Float64Array, place: number, amount: number): void {
  values[place] = (values[place] ?? 0) + amount;
}

interface WeightTree {
  add(rank: number, weight: number): void;
  /** The weight at lower, equal and higher ranks. The object is used again by the next call. */
  around(rank: number): { below: number; equal: number; above: number };
}

/** Weights by rank, with sums over ranks in O(log ranks). Source: Fenwick 1994. */
function weightTree(largest: number): WeightTree {
  const sums = new Float64Array(largest + 1);
  const own = new Float64Array(largest + 1);
  const found = { below: 0, equal: 0, above: 0 };
  let total = 0;
  return {
    add(rank, weight) {
      total += weight;
      own[rank] = (own[rank] ?? 0) + weight;
      for (let i = rank; i <= largest; i += i & -i) sums[i] = (sums[i] ?? 0) + weight;
    },
    around(rank) {
      let below = 0;
      for (let i = rank - 1; i > 0; i -= i & -i) below += sums[i] ?? 0;
      found.below = below;
      found.equal = own[rank] ?? 0;
      found.above = total - below - found.equal;
      return found;
    },
  };
}

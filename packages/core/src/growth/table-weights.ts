/** Mean sizes at ages, youngest first: years and the measure's unit. */
export type SizeByAge = readonly (readonly [age: number, mean: number])[];

/**
 * Adds `factor` times the weights of a table's means in the size at an age to `total`, the first mean's at `first`.
 * Straight lines between the table's ages, and along the outer lines beyond them; the weights sum to 1. Nothing for fewer
 * than two means.
 */
export function addSizeWeights(
  total: number[],
  first: number,
  sizes: SizeByAge,
  age: number,
  factor: number,
): void {
  const upper = olderRow(sizes, age);
  const share = shareBetween(sizes[upper - 1]?.[0], sizes[upper]?.[0], age);
  if (share === null) return;
  total[first + upper - 1] = (total[first + upper - 1] ?? 0) + factor * (1 - share);
  total[first + upper] = (total[first + upper] ?? 0) + factor * share;
}

/** Mean size at an age, by straight lines between the table's ages and along the outer lines beyond them; NaN without two. */
export function sizeAtAge(sizes: SizeByAge, age: number): number {
  const upper = olderRow(sizes, age);
  const younger = sizes[upper - 1];
  const older = sizes[upper];
  const share = shareBetween(younger?.[0], older?.[0], age);
  if (share === null || younger === undefined || older === undefined) return NaN;
  return younger[1] * (1 - share) + older[1] * share;
}

/**
 * Weights of a table's means in the velocity at an age, per year. The yearly rate between two ages is taken to hold
 * midway between them, and rates are joined by straight lines, so that velocity does not jump at an age of the table;
 * before the first middle and after the last it stays. They sum to 0.
 */
export function velocityWeights(sizes: SizeByAge, age: number): number[] {
  const middles = sizes.slice(1).map(([older], i) => ((sizes[i]?.[0] ?? NaN) + older) / 2);
  const last = middles.length - 1;
  const weights = sizes.map(() => 0);
  const addRate = (place: number, factor: number): void => {
    const [younger, older] = [sizes[place]?.[0], sizes[place + 1]?.[0]];
    if (younger === undefined || older === undefined) return;
    weights[place] = (weights[place] ?? 0) - factor / (older - younger);
    weights[place + 1] = (weights[place + 1] ?? 0) + factor / (older - younger);
  };
  if (age <= (middles[0] ?? NaN)) addRate(0, 1);
  else if (age >= (middles[last] ?? NaN)) addRate(last, 1);
  else {
    const upper = olderPlace(middles, age);
    const share = shareBetween(middles[upper - 1], middles[upper], age);
    if (share === null) return weights;
    addRate(upper - 1, 1 - share);
    addRate(upper, share);
  }
  return weights;
}

/** The sum of a table's means with these weights. */
export function weighted(sizes: SizeByAge, weights: readonly number[]): number {
  return sizes.reduce((sum, [, mean], i) => sum + mean * (weights[i] ?? 0), 0);
}

/** Place of the older one of the two ages between which, or beyond which, an age lies. */
function olderPlace(ages: readonly number[], age: number): number {
  const last = ages.length - 1;
  const after = ages.findIndex((rowAge) => rowAge >= age);
  return Math.min(Math.max(after === -1 ? last : after, 1), last);
}

/** The same for the rows of a table; written out, since every size of every visit is read by it. */
function olderRow(sizes: SizeByAge, age: number): number {
  const last = sizes.length - 1;
  let after = 0;
  while (after < last && !((sizes[after]?.[0] ?? NaN) >= age)) after++;
  return Math.min(Math.max(after, 1), last);
}

function shareBetween(younger: number | undefined, older: number | undefined, age: number): number | null {
  return younger === undefined || older === undefined ? null : (age - younger) / (older - younger);
}

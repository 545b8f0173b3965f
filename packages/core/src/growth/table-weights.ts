/** Mean sizes at ages, youngest first: years and the measure's unit. */
export type SizeByAge = readonly (readonly [age: number, mean: number])[];

/**
 * Weights of a table's means in the size at an age: straight lines between its ages, and along the outer lines beyond
 * them. They sum to 1; all 0 for fewer than two means.
 */
export function sizeWeights(sizes: SizeByAge, age: number): number[] {
  const weights = sizes.map(() => 0);
  const upper = olderRow(
    sizes.map(([rowAge]) => rowAge),
    age,
  );
  const share = shareBetween(sizes[upper - 1]?.[0], sizes[upper]?.[0], age);
  if (share === null) return weights;
  weights[upper - 1] = 1 - share;
  weights[upper] = share;
  return weights;
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
    const upper = olderRow(middles, age);
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
function olderRow(ages: readonly number[], age: number): number {
  const last = ages.length - 1;
  const after = ages.findIndex((rowAge) => rowAge >= age);
  return Math.min(Math.max(after === -1 ? last : after, 1), last);
}

function shareBetween(younger: number | undefined, older: number | undefined, age: number): number | null {
  return younger === undefined || older === undefined ? null : (age - younger) / (older - younger);
}

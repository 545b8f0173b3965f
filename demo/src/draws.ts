import type { RandomStream } from '@longhold/core/numeric';
import type { NormalSpread } from './model-types';

export function drawNormal(random: RandomStream, spread: NormalSpread): number {
  return spread.mean + spread.sd * random.normal();
}

/** Normal, drawn again until it lies within the limits. */
export function drawNormalWithin(
  random: RandomStream,
  spread: NormalSpread,
  low: number,
  high: number,
): number {
  let value = drawNormal(random, spread);
  while (value < low || value > high) value = drawNormal(random, spread);
  return value;
}

export function drawUniform(random: RandomStream, low: number, high: number): number {
  return low + (high - low) * random.uniform();
}

export function happens(random: RandomStream, probability: number): boolean {
  return random.uniform() < probability;
}

/** Draws one key with the given probabilities, which add up to 1. */
export function drawKey<Key extends string>(
  random: RandomStream,
  weights: readonly (readonly [Key, number])[],
): Key {
  let left = random.uniform();
  for (const [key, weight] of weights) {
    left -= weight;
    if (left < 0) return key;
  }
  const last = weights[weights.length - 1];
  if (last === undefined) throw new RangeError('drawKey: at least one key is needed');
  return last[0];
}

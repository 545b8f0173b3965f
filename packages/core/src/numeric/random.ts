import { uniformFloat64 } from 'pure-rand/distribution/uniformFloat64';
import { uniformInt } from 'pure-rand/distribution/uniformInt';
import { xoroshiro128plus } from 'pure-rand/generator/xoroshiro128plus';

/** A stream of random numbers that is the same for the same seed on every machine. */
export interface RandomStream {
  /** Uniform on [0, 1). */
  uniform(): number;
  /** Uniform on the whole numbers 0 to `size - 1`. */
  integer(size: number): number;
  /** Normal with mean 0 and standard deviation 1. */
  normal(): number;
  /** Exponential with the given rate; mean 1 / rate. */
  exponential(rate: number): number;
}

/** Outputs thrown away at the start: the first few depend almost linearly on the seed. */
const WARM_UP = 64;

/**
 * Opens a random stream. `seed` is a whole number; equal seeds give equal streams.
 * Generator: xoroshiro128+ (pure-rand). Normal deviates by Marsaglia's polar method (Marsaglia and Bray 1964).
 */
export function createRandom(seed: number): RandomStream {
  const generator = xoroshiro128plus(seed);
  let spare: number | null = null;
  const uniform = (): number => uniformFloat64(generator);
  for (let i = 0; i < WARM_UP; i++) uniform();

  const normal = (): number => {
    if (spare !== null) {
      const kept = spare;
      spare = null;
      return kept;
    }
    let x: number, y: number, squared: number;
    do {
      x = 2 * uniform() - 1;
      y = 2 * uniform() - 1;
      squared = x * x + y * y;
    } while (squared >= 1 || squared === 0);
    const scale = Math.sqrt((-2 * Math.log(squared)) / squared);
    spare = y * scale;
    return x * scale;
  };

  return {
    uniform,
    normal,
    integer: (size) => uniformInt(generator, 0, size - 1),
    exponential: (rate) => -Math.log1p(-uniform()) / rate,
  };
}

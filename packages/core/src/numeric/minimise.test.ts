import { describe, expect, it } from 'vitest';
import { minimise } from './minimise';

/** Source: Moré, Garbow and Hillstrom 1981, test functions with their usual starts and known minima. */
const FUNCTIONS: readonly {
  readonly name: string;
  readonly f: (x: readonly number[]) => number;
  readonly start: readonly number[];
  readonly minimum: number;
  readonly place: readonly number[] | null;
}[] = [
  {
    name: 'Rosenbrock, a curved valley',
    f: ([x = 0, y = 0]) => 100 * (y - x * x) ** 2 + (1 - x) ** 2,
    start: [-1.2, 1],
    minimum: 0,
    place: [1, 1],
  },
  {
    name: 'Beale, flat far out',
    f: ([x = 0, y = 0]) =>
      (1.5 - x * (1 - y)) ** 2 + (2.25 - x * (1 - y ** 2)) ** 2 + (2.625 - x * (1 - y ** 3)) ** 2,
    start: [1, 1],
    minimum: 0,
    place: [3, 0.5],
  },
  {
    name: 'helical valley',
    f: ([x = 0, y = 0, z = 0]) =>
      100 * ((z - (10 * Math.atan2(y, x)) / (2 * Math.PI)) ** 2 + (Math.hypot(x, y) - 1) ** 2) + z * z,
    start: [-1, 0, 0],
    minimum: 0,
    place: [1, 0, 0],
  },
  {
    name: 'Wood, a false valley on the way',
    f: ([a = 0, b = 0, c = 0, d = 0]) =>
      100 * (b - a * a) ** 2 +
      (1 - a) ** 2 +
      90 * (d - c * c) ** 2 +
      (1 - c) ** 2 +
      10 * (b + d - 2) ** 2 +
      0.1 * (b - d) ** 2,
    start: [-3, -1, -3, -1],
    minimum: 0,
    place: [1, 1, 1, 1],
  },
  {
    name: 'Powell, with a singular second derivative at the minimum',
    f: ([a = 0, b = 0, c = 0, d = 0]) =>
      (a + 10 * b) ** 2 + 5 * (c - d) ** 2 + (b - 2 * c) ** 4 + 10 * (a - d) ** 4,
    start: [3, -1, 0, 1],
    minimum: 0,
    place: null,
  },
  {
    name: 'Brown and Dennis, with a large value at the minimum',
    f: ([a = 0, b = 0, c = 0, d = 0]) => {
      let sum = 0;
      for (let i = 1; i <= 20; i++) {
        const t = i / 5;
        sum += ((a + t * b - Math.exp(t)) ** 2 + (c + d * Math.sin(t) - Math.cos(t)) ** 2) ** 2;
      }
      return sum;
    },
    start: [25, 5, -5, -1],
    minimum: 85822.2,
    place: null,
  },
];

describe('minimisation', () => {
  it.each(FUNCTIONS)('finds the known minimum: $name', ({ f, start, minimum, place }) => {
    const found = minimise(f, [start]);
    expect(found.converged).toBe(true);
    // Brown and Dennis is printed to six digits.
    expect(Math.abs(found.value - minimum)).toBeLessThan(minimum === 0 ? 1e-9 : 0.05);
    place?.forEach((value, i) => expect(found.point[i]).toBeCloseTo(value, 5));
  });

  it('takes the best of several starts', () => {
    const twoWells = ([x = 0]: readonly number[]): number => (x * x - 1) ** 2 + 0.3 * x;
    expect(minimise(twoWells, [[1], [-1]]).point[0]).toBeCloseTo(-1.0356, 3);
  });

  it('does not claim a minimum at the foot of a cliff', () => {
    expect(minimise(([x = 0]) => (x > 0 ? x : 1000), [[1]]).converged).toBe(false);
  });

  it('asks for a start', () => expect(() => minimise(() => 0, [])).toThrow('needs at least one start'));
});

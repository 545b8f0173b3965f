import { describe, expect, it } from 'vitest';
import { rootBetween } from './root';

describe('a root between two points', () => {
  it.each([
    ['cos x = x', (x: number) => Math.cos(x) - x, 0, 1, 0.7390851332151607],
    ['x^3 = 2, steep at one end', (x: number) => x ** 3 - 2, 0, 1000, Math.cbrt(2)],
    ['a triple root', (x: number) => (x - 1) ** 3, -7, 3.3, 1],
    ['a step in logarithms', (x: number) => Math.log(x) + 7, 1e-320, 1, Math.exp(-7)],
    ['the ends the wrong way round', (x: number) => x - 0.25, 4, -3, 0.25],
  ])('is found: %s', (_, f, low, high, expected) => {
    expect(rootBetween(f, low, high)).toBeCloseTo(expected, 5);
    const root = rootBetween(f, low, high, 0) ?? NaN;
    // The function changes sign within two neighbouring doubles, or is zero.
    const step = 4 * Number.EPSILON * Math.max(Math.abs(root), Number.MIN_VALUE);
    expect(f(root) === 0 || f(root - step) * f(root + step) <= 0).toBe(true);
  });

  it('may be one of the ends', () => expect(rootBetween((x) => x, 0, 5)).toBe(0));

  it('is not claimed where both ends have one sign, or a value is not a number', () => {
    expect(rootBetween((x) => x * x + 1, -1, 1)).toBeNull();
    expect(rootBetween((x) => Math.sqrt(x) - 1, -1, 4)).toBeNull();
  });

  it('takes few evaluations', () => {
    let evaluations = 0;
    rootBetween((x) => (evaluations++, Math.exp(x) - 2), -10, 10);
    expect(evaluations).toBeLessThan(25);
  });
});

import { describe, expect, it } from 'vitest';
import { duplicateError, smallestDetectableChange, type DuplicatePair } from '@longhold/core/agreement';
import { expectWithin } from './closeness';
import { readPublished } from './fixture';
import { printed } from './tolerances';

// Bland and Altman, Lancet 1986;i:307-310: peak flow of 17 subjects, two readings with each of two meters.
const rows = readPublished('peak-flow.csv');

function repeats(meter: string): DuplicatePair[] {
  return rows.filter(([name]) => name === meter).map(([, first, second]) => [Number(first), Number(second)]);
}

function errorOf(pairs: readonly DuplicatePair[]): NonNullable<ReturnType<typeof duplicateError>> {
  const error = duplicateError(pairs);
  if (error === null) throw new Error('no error estimate');
  return error;
}

describe('duplicate readings of peak flow (Bland and Altman 1986)', () => {
  it('give the error of the large meter', () => {
    const error = errorOf(repeats('large'));
    expect(error.pairs).toBe(17);
    // Sum of differences 84 (first minus second), of squares 7966: sqrt(7966 / 34).
    expectWithin(error.bias, -84 / 17, 1e-12);
    expectWithin(error.dahlberg, 15.307, printed(3));
    expectWithin(error.moments, 15.361, printed(3));
    expectWithin(smallestDetectableChange(error.dahlberg), 42.43, printed(2));
  });

  it('give the error of the mini meter', () => {
    const error = errorOf(repeats('mini'));
    expectWithin(error.dahlberg, 19.911, printed(3));
    expectWithin(error.moments, 20.416, printed(3));
    expectWithin(smallestDetectableChange(error.dahlberg), 55.19, printed(2));
  });

  it('give the printed limits of agreement between the meters from the first readings', () => {
    const large = repeats('large');
    const error = errorOf(repeats('mini').map(([mini], i) => [mini, large[i]?.[0] ?? NaN]));
    const sd = error.moments * Math.SQRT2;
    expectWithin(error.bias, -2.1, printed(1));
    expectWithin(sd, 38.8, printed(1));
    // The paper rounds the mean and the SD before it forms mean -+ 2 SD.
    expectWithin(-2.1 - 2 * 38.8, -79.7, printed(1));
    expectWithin(-2.1 + 2 * 38.8, 75.5, printed(1));
    expectWithin(error.bias - 2 * sd, -79.65, printed(2));
    expectWithin(error.bias + 2 * sd, 75.41, printed(2));
  });
});

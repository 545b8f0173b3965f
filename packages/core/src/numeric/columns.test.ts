import { describe, expect, it } from 'vitest';
import { checkColumn, FINITE, NOT_NEGATIVE, POSITIVE } from './columns';

describe('a column of numbers', () => {
  it.each([
    ['NaN', FINITE, [1, NaN], 'time[1] is NaN; it must be a finite number.'],
    ['infinity', FINITE, [Infinity], 'time[0] is Infinity; it must be a finite number.'],
    ['a negative time', NOT_NEGATIVE, [0, 3, -2], 'time[2] is -2; it must be a finite number, 0 or more.'],
    ['zero where it must be positive', POSITIVE, [0], 'time[0] is 0; it must be a finite number above 0.'],
  ])('is refused with its place: %s', (_, rule, values, message) => {
    expect(checkColumn('time', values, rule)).toEqual({ refused: 'wrong-value', message });
  });

  it('is refused where its length differs', () => {
    expect(checkColumn('event', [1, 0], FINITE, 3)?.message).toBe('event has 2 entries where 3 are needed.');
  });

  it('passes where all is well', () => expect(checkColumn('time', [0, 1.5], NOT_NEGATIVE, 2)).toBeNull());
});

import { describe, expect, it } from 'vitest';
import { readAmount, readPercent } from './planning-columns';

describe('what is typed into a plan', () => {
  it('is a percentage from 0 to 80, with its sign or without', () => {
    expect([
      readPercent('10'),
      readPercent('10 %'),
      readPercent('81'),
      readPercent('-1'),
      readPercent('x'),
      readPercent(''),
    ]).toEqual([0.1, 0.1, null, null, null, null]);
  });

  it('is an amount above 0, with a point or a comma', () => {
    expect([readAmount('0.5'), readAmount('0,5'), readAmount('0'), readAmount('21'), readAmount('')]).toEqual(
      [0.5, 0.5, null, null, null],
    );
  });
});

import { describe, expect, it } from 'vitest';
import { firstYearsText, levelText, pointsText } from './number-text';

describe('a confidence level', () => {
  it.each([
    [0.95, '95\u00a0%'],
    [0.9, '90\u00a0%'],
    [0.57, '57\u00a0%'],
    [0.975, '97.5\u00a0%'],
    [0.999, '99.9\u00a0%'],
    [0.99999, '99.999\u00a0%'],
  ])('of %d is written %s, neither rounded nor with digits of its own', (level, text) => {
    expect(levelText(level)).toBe(text);
  });
});

describe('a stretch of years', () => {
  it('is in the singular for one', () => {
    expect([1, 3].map(firstYearsText)).toEqual(['first year', 'first 3 years']);
  });
});

describe('a difference of shares', () => {
  it('is in percentage points, not in per cent of either', () => {
    expect(pointsText(0.4 - 0.23)).toBe('17 points');
    expect(pointsText(0.23 - 0.24)).toBe('1 point');
  });
});

import { describe, expect, it } from 'vitest';
import { levelText } from './number-text';

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

import { describe, expect, it } from 'vitest';
import {
  formatChange,
  formatCount,
  formatNoun,
  formatNumber,
  formatQuantity,
  formatRatioInterval,
  formatShare,
  formatSigned,
  formatYears,
} from './format';

describe('numbers', () => {
  it('carry fixed decimals and a true minus sign', () => {
    expect(formatNumber(-2.345, 2)).toBe('\u22122.35');
    expect(formatNumber(3)).toBe('3.0');
  });

  it('never show a signed zero', () => {
    expect(formatNumber(-0.04)).toBe('0.0');
    expect(formatSigned(0.04)).toBe('0.0');
    expect(formatSigned(1.26)).toBe('+1.3');
  });

  it('set thousands apart', () => {
    expect(formatCount(10000)).toBe('10,000');
    expect(formatCount(999)).toBe('999');
    expect(formatCount(1234567)).toBe('1,234,567');
  });

  it('carry their unit', () => {
    expect(formatQuantity(2.3, 'mm')).toBe('2.3 mm');
    expect(formatChange(4.12, 'deg')).toBe('+4.1°');
    expect(formatYears(1)).toBe('1.0\u00a0year');
    expect(formatNoun(1, 'patient')).toBe('1\u00a0patient');
    expect(formatNoun(0, 'loss', 'losses')).toBe('0\u00a0losses');
  });

  it('write shares as percentages', () => {
    expect(formatShare(0.834)).toBe('83\u00a0%');
    expect(formatShare(-0.05)).toBe('\u22125\u00a0%');
  });
});

describe('the confidence set of a ratio', () => {
  it('is written as two limits when bounded', () => {
    expect(formatRatioInterval({ kind: 'bounded', lower: 0.61, upper: 0.98 })).toBe('61\u00a0% to 98\u00a0%');
  });

  it('says so when it lies outside an interval or is everything', () => {
    expect(formatRatioInterval({ kind: 'unbounded', lower: -0.2, upper: 1.4 })).toBe(
      'below \u221220\u00a0% or above 140\u00a0%',
    );
    expect(formatRatioInterval({ kind: 'at-least', lower: 0.61 })).toBe('61\u00a0% or more');
    expect(formatRatioInterval({ kind: 'at-most', upper: 0.61 })).toBe('61\u00a0% or less');
    expect(formatRatioInterval({ kind: 'whole-line' })).toBe('any share at all');
  });
});

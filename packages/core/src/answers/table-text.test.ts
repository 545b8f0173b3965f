import { describe, expect, it } from 'vitest';
import {
  baselineText,
  betweenYearsText,
  comparedSurvivalText,
  NOT_FIXED,
  retainedText,
  shareText,
  testedText,
} from './table-text';

const S = '\u00a0';
const write = (value: number): string => value.toFixed(2);

describe('the text of a table cell', () => {
  it('gives an estimate its limits and, where there is a test, its p', () => {
    const tested = {
      estimate: 1.5,
      standardError: 0.5,
      df: 20,
      p: 0.0042,
      limits: { lower: 0.5, upper: 2.5 },
    };
    expect(testedText(tested, write)).toBe('1.50 (0.50 to 2.50; p 0.004)');
    expect(testedText({ ...tested, p: null }, write)).toBe('1.50 (0.50 to 2.50)');
  });

  it('gives no number that the data do not fix', () => {
    const free = { estimate: 1.5, standardError: 0.5, df: null, p: null, limits: null };
    expect(testedText(free, write)).toBe(NOT_FIXED);
  });

  it('gives a share its set, and the share of a year how many it rests on', () => {
    const share = { estimate: 0.726, interval: { kind: 'bounded', lower: 0.61, upper: 0.84 } } as const;
    expect(shareText(share)).toBe(`73${S}% (61${S}% to 84${S}%)`);
    expect(retainedText({ n: 24, ...share })).toBe(`73${S}% (61${S}% to 84${S}%; n 24)`);
  });

  it('tells a bound of survival from an estimate, and nothing where nobody was followed', () => {
    const at = { year: 3, estimate: 0.8, atRisk: 12, undefinedWithin: null };
    const limits = { lower: 0.5, upper: 0.9 };
    expect(comparedSurvivalText({ ...at, limits })).toBe(`80${S}% (50${S}% to 90${S}%; at risk 12)`);
    expect(comparedSurvivalText({ ...at, limits: null })).toBe(`80${S}% (bound; at risk 12)`);
    expect(comparedSurvivalText({ ...at, estimate: null, limits: null })).toBeNull();
    expect(comparedSurvivalText(null)).toBeNull();
  });

  it('names the year at the end of treatment by that end', () => {
    expect(betweenYearsText({ from: 0, to: 1 })).toBe('the end of treatment and year 1');
    expect(betweenYearsText({ from: 2, to: 3 })).toBe('year 2 and year 3');
  });

  it('writes a share in per cent and a mean with one decimal', () => {
    expect(baselineText({ kind: 'share' }, 0.5)).toBe(`50${S}%`);
    expect(baselineText({ kind: 'mean' }, 0.5)).toBe('0.5');
  });
});

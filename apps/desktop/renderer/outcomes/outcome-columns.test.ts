import type { SurvivalAtYear } from '@longhold/core/answers';
import { describe, expect, it } from 'vitest';
import { survivalColumns, type SurvivalRow } from './outcome-columns';

function atYear(changes: Partial<SurvivalAtYear>): SurvivalRow {
  const turnbull = {
    year: 3,
    estimate: 0.7,
    limits: { lower: 0.5, upper: 0.85 },
    atRisk: 12,
    undefinedWithin: null,
    ...changes,
  };
  return { turnbull, kaplanMeier: { ...turnbull, undefinedWithin: null } };
}
const cells = (row: SurvivalRow): string[] =>
  survivalColumns.map(({ text }) => text(row).replaceAll('\u00a0', ' '));

describe('the table beside the survival curve', () => {
  it('shows the share still there with its interval, on both curves', () => {
    expect(cells(atYear({}))).toEqual(['3', '12', '70 %', '50 % to 85 %', '70 % (50 % to 85 %)']);
  });

  it('stars a year in which the curve is not defined and says between what it lies', () => {
    expect(cells(atYear({ undefinedWithin: { lower: 0.6, upper: 0.8 } }))[2]).toBe('70 % * (60 % to 80 %)');
  });

  it('says that nobody was followed where no curve reaches', () => {
    const row = cells(atYear({ estimate: null, limits: null, atRisk: 0 }));
    expect(row.slice(1)).toEqual(['0', 'nobody followed', '\u2013', 'nobody followed']);
  });
});

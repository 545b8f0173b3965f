import { describe, expect, it } from 'vitest';
import { pseudonymOf, recordWith } from './contribution.fixture';
import type { PooledRecord } from './pooled-record';
import { residualRisk } from './residual-risk';

function visits(...days: readonly number[]): Pick<PooledRecord, 'visits'> {
  return { visits: days.map((day) => ({ kind: 'follow_up', day, values: [] })) };
}

const records = [
  { sex: 'female', ...visits(350, 700) },
  { sex: 'female', ...visits(350) },
  { sex: 'male', ...visits(350) },
  { sex: 'male', ...visits(-10) },
  { sex: 'male', ...visits() },
  { sex: 'male', ...visits() },
] as const;
const risk = residualRisk(
  records.map((parts, i) => recordWith({ pseudonym: pseudonymOf(String(i)), ...parts })),
  4,
);

describe('the risk that remains', () => {
  it('by hand: two girls and four boys make groups of 2 and 4, so 1/2 at worst and 2/6 on average', () => {
    expect(risk).toMatchObject({
      records: 6,
      sizes: [
        { size: 2, groups: 1 },
        { size: 4, groups: 1 },
      ],
      smallestGroup: 2,
      inSmallGroups: 2,
      highestRisk: 1 / 2,
      meanRisk: 2 / 6,
    });
  });

  it('counts patterns of visit days that one patient has alone, but none without visits', () => {
    expect(risk.uniqueVisitDays).toBe(2);
  });

  it('tells values that one patient has alone', () => {
    const measured = (value: number, name: string): PooledRecord =>
      recordWith({
        pseudonym: pseudonymOf(name),
        visits: [
          {
            kind: 'start',
            day: -300,
            values: [{ measure: 'SNB', value, films: 1, readings: 1, magnification: 'not-enlarged' }],
          },
        ],
      });
    const three = [measured(76.5, 'a'), measured(76.5, 'b'), measured(77, 'c')];
    expect(residualRisk(three, 2).uniqueValues).toBe(1);
  });

  it('is not told of nobody', () => {
    expect(residualRisk([], 10)).toMatchObject({ smallestGroup: null, highestRisk: null, meanRisk: null });
  });
});

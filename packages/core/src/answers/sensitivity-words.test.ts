import { describe, expect, it } from 'vitest';
import type { SensitivityAnswer, SensitivityRow } from './sensitivity-answer';
import { sensitivitySentence } from './sensitivity-words';

const SPACE = '\u00a0';

function row(choice: string, share: number, n: number, survival: number, atRisk: number): SensitivityRow {
  return {
    aspect: 'reference',
    choice,
    inForce: choice === 'Own series',
    patients: 40,
    retained: { n, estimate: share, interval: { kind: 'bounded', lower: 0, upper: 1 } },
    survival: { year: 3, estimate: survival, limits: null, atRisk, undefinedWithin: null },
    atYears: [],
    lasting: null,
    share: null,
    diagnosis: null,
    lastingRefused: null,
  };
}

function answerOf(rows: readonly SensitivityRow[]): SensitivityAnswer {
  return {
    retainedYear: 3,
    survivalYear: 3,
    rows,
    references: { needed: true, rows: [] },
    withoutOne: null,
    influence: null,
    survivalWithoutOne: null,
  };
}

describe('the sentence on how far the results reach', () => {
  const own = row('Own series', 0.7, 24, 0.8, 20);
  const other = row('Built-in table', 0.72, 10, 0.75, 10);
  const few = row('Demo table', 0.37, 3, 0.3, 9);

  it('takes in no row with fewer than ten patients, and says which it left out and why', () => {
    const text = sensitivitySentence(answerOf([own, other, few]));
    expect(text).toContain(`at year 3 lies between 70${SPACE}% and 72${SPACE}%.`);
    expect(text).toContain(`between 75${SPACE}% and 80${SPACE}% still have the gain`);
    expect(text).toContain('Left out of this range, with fewer than 10 seen: Demo table (3).');
    expect(text).toContain('Left out of this range, with fewer than 10 still followed: Demo table (9).');
  });

  it('leaves nothing out where all rows rest on ten or more', () => {
    expect(sensitivitySentence(answerOf([own, other]))).not.toContain('Left out');
  });

  it('gives no range where no row rests on ten', () => {
    expect(sensitivitySentence(answerOf([few]))).not.toMatch(/lies between|still have|Left out/);
  });
});

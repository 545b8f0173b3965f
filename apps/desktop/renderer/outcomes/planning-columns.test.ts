import { findMeasure } from '@longhold/core/measures';
import { describe, expect, it } from 'vitest';
import { planningColumns, readAmount, readPercent } from './planning-columns';

describe('the table of a plan', () => {
  it('leaves a place empty where so few patients would give no limits, and never writes plus or minus zero', () => {
    const measure = findMeasure('Co-Gn');
    if (measure === undefined) throw new Error('no measure');
    const row = { years: 2, lasting: [null, 1.2, 0.8], share: [null, null, 0.25], patients: null };
    const columns = planningColumns(
      {
        readFrom: 'growth-clock',
        target: 0.5,
        dropOut: 0,
        missed: 0,
        numbers: [6, 12, 30],
        rows: [row],
        floor: 0,
        present: { lasting: 0.7, patients: 40 },
        continued: { callable: 0, absent: 0, absentReturn: null, years: [] },
      },
      measure,
    );
    const [few, some, many] = columns.slice(1).map(({ text }) => text(row));
    expect(few).not.toContain('±');
    expect(some?.match(/±/g)).toHaveLength(1);
    expect(many).toContain('±0.80');
    expect(many?.match(/±/g)).toHaveLength(2);
  });
});

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

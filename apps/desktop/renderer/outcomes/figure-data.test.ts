import type { RetainedYear, SensitivityRow } from '@longhold/core/answers';
import { dataToCsv } from '@longhold/ui';
import { describe, expect, it } from 'vitest';
import {
  groupData,
  partsData,
  planningData,
  referencesData,
  retainedData,
  sensitivityData,
} from './figure-data';

const year = (changes: Partial<RetainedYear>): RetainedYear => ({
  year: 2,
  n: 30,
  meanGainAtEnd: 3,
  meanGainNow: 2,
  share: { estimate: 2 / 3, interval: { kind: 'bounded', lower: 0.5, upper: 0.8 } },
  bootstrap: null,
  ...changes,
});

describe('the data of a figure', () => {
  it('hold the retained share unrounded, with its interval', () => {
    expect(retainedData([year({})])[0]).toMatchObject({
      patients: 30,
      retained_share: 2 / 3,
      interval_kind: 'bounded',
      interval_lower: 0.5,
      interval_upper: 0.8,
    });
  });

  it('leave the end open that a set of shares does not have, and say of which kind it is', () => {
    const [atLeast, whole, none] = retainedData([
      year({ share: { estimate: 1, interval: { kind: 'at-least', lower: 0.4 } } }),
      year({ share: { estimate: 1, interval: { kind: 'whole-line' } } }),
      year({ share: null }),
    ]);
    expect(atLeast).toMatchObject({ interval_kind: 'at-least', interval_lower: 0.4, interval_upper: null });
    expect(whole).toMatchObject({ interval_kind: 'whole-line', interval_lower: null, interval_upper: null });
    expect(none).toMatchObject({ retained_share: null, interval_kind: null });
  });

  it('name the group in every row of a group', () => {
    const points = [
      { time: 1, survival: 0.9, lower: 0.7, upper: 1 },
      { time: 2, survival: 0.5, lower: 0.3, upper: 0.7 },
    ];
    const rows = groupData([
      { label: 'A', patients: 9, losses: 4, points, atYears: [], restrictedMean: null },
    ]);
    expect(rows.map(({ group, years, survival }) => [group, years, survival])).toEqual([
      ['A', 1, 0.9],
      ['A', 2, 0.5],
    ]);
  });

  it('hold a whole and its parts for each span that can be told of, and nothing of the others', () => {
    const whole = {
      name: 'Overjet corrected',
      mean: 4,
      limits: null,
      untreated: null,
      beyondUntreated: null,
    };
    const part = { ...whole, name: 'Upper jaw back', mean: 1, limits: { lower: 0, upper: 2 } };
    const given = { n: 12, leftOut: [], withoutRecords: 0, years: 1.1, skeletalShare: null } as const;
    const split = { span: 'treatment', ...given } as const;
    const rows = partsData([
      { ...split, whole, parts: [part] },
      { ...split, span: 'since', n: 0, whole: null, parts: [] },
    ]);
    expect(rows.map((row) => [row['span'], row['part'], row['mean_mm'], row['upper_mm']])).toEqual([
      ['treatment', 'Overjet corrected', 4, null],
      ['treatment', 'Upper jaw back', 1, 2],
    ]);
  });

  it('hold one row for each number of patients and years of a plan', () => {
    const rows = planningData({
      readFrom: 'growth-clock',
      dropOut: 0.1,
      missed: 0.1,
      continued: { callable: 12, absent: 0, absentReturn: null, years: [] },
      target: 0.5,
      numbers: [10, 20],
      rows: [{ years: 1, lasting: [null, 0.8], share: [null, 0.3], patients: null }],
      floor: 0,
      present: { lasting: 0.9, patients: 15 },
    });
    expect(rows.map(({ patients, half_width_lasting_gain: half }) => [patients, half])).toEqual([
      [10, null],
      [20, 0.8],
    ]);
  });

  it('can be written although nothing of a choice could be computed', () => {
    const row: SensitivityRow = {
      aspect: 'clock',
      choice: 'by stage',
      inForce: false,
      patients: 0,
      retained: null,
      survival: null,
      atYears: [],
      lasting: null,
      share: null,
      diagnosis: null,
      lastingRefused: 'Too few patients.',
    };
    const rows = sensitivityData({
      retainedYear: null,
      survivalYear: null,
      rows: [row],
      references: { needed: true, rows: [] },
      withoutOne: null,
      influence: null,
      survivalWithoutOne: null,
    });
    expect(dataToCsv(rows).split('\r\n')[1]).toMatch(/^clock,by stage,no,0,+$/);
  });

  it('keep a growth reference that cannot be used, with the reason', () => {
    const rows = referencesData({
      retainedYear: 3,
      survivalYear: null,
      rows: [],
      references: {
        needed: true,
        rows: [
          {
            kind: 'untreated-series',
            table: null,
            clock: 'age',
            name: 'Untreated series',
            label: 'Untreated series, by age',
            inForce: false,
            results: null,
            why: 'No sex has 8 children.',
          },
        ],
      },
      withoutOne: null,
      influence: null,
      survivalWithoutOne: null,
    });
    expect(rows).toHaveLength(1);
    expect(rows[0]).toMatchObject({
      growth_reference: 'Untreated series, by age',
      why_not: 'No sex has 8 children.',
      retained_year: 3,
      retained_share: null,
      lasting_gain: null,
    });
  });
});

import { MEASURES } from '@longhold/core/measures';
import { expect, it } from 'vitest';
import { biasWords, measureColumns, measureRows, partWords } from './measure-rows';

const error = {
  sd: 1.35,
  retracingSd: 1.01,
  source: 'duplicates',
  duplicates: {
    pairs: 40,
    dahlberg: 1.01,
    dahlbergLimits: { lower: 0.83, upper: 1.29 },
    moments: 0.98,
    bias: -0.41,
    biasP: 0.02,
  },
  provenance: null,
  films: {
    sd: 0.9,
    source: 'default',
    own: null,
    provenance: { kind: 'published', text: 'Two films of each of some adults.' },
  },
  degreesOfFreedom: { retracing: 40, whole: null },
  smallestDetectableChange: 3.7,
} as const;

it('every measure of the catalogue is listed, with or without an error', () => {
  const rows = measureRows([{ measure: 'Co-Gn', error }]);
  expect(rows).toHaveLength(MEASURES.length);
  expect(rows[0]?.error?.sd).toBe(1.35);
  expect(rows[1]?.error).toBeNull();
});

it('a bias between readings is pointed out where chance does not explain it', () => {
  const [row] = measureRows([{ measure: 'Co-Gn', error }]);
  expect(row && biasWords(row)).toBe(
    'second readings differ from first ones by \u22120.41 mm on average (p = 0.020).',
  );
  const calm = { ...error, duplicates: { ...error.duplicates, biasP: 0.5 } };
  const [other] = measureRows([{ measure: 'Co-Gn', error: calm }]);
  expect(other && biasWords(other)).toBeNull();
});

it('the whole error stands in the table, and both parts with their sources below it', () => {
  const [row, without] = measureRows([{ measure: 'Co-Gn', error }]);
  if (row === undefined || without === undefined) throw new Error('no rows');
  expect(measureColumns.find(({ key }) => key === 'error')?.text(row)).toContain('1.35');
  expect(partWords(row)?.retracing).toContain('1.01 mm (Dahlberg 1940), from 40 pairs');
  expect(partWords(row)?.films).toMatch(/0\.90 mm, a default.*Two films of each of some adults\./);
  expect(partWords(without)).toBeNull();
});

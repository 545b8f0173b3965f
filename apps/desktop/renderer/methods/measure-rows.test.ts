import { MEASURES } from '@longhold/core/measures';
import { expect, it } from 'vitest';
import { biasWords, measureRows } from './measure-rows';

const error = {
  sd: 1.01,
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
  smallestDetectableChange: 2.8,
} as const;

it('every measure of the catalogue is listed, with or without an error', () => {
  const rows = measureRows([{ measure: 'Co-Gn', error }]);
  expect(rows).toHaveLength(MEASURES.length);
  expect(rows[0]?.error?.sd).toBe(1.01);
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

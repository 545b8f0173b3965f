import {
  bestPlace,
  patientRangeText,
  WITHHELD,
  withheldCount,
  type ViewedMeasure,
  type ViewedQuantity,
} from '@longhold/core/pooled';
import { describe, expect, it } from 'vitest';
import type { PoolingLink } from '../../state/host';
import { contextOf } from './pooled-context';
import { quantityColumns } from './quantity-columns';

const MEAN = {
  centres: 3,
  estimate: 0.8,
  limits: { lower: 0.7, upper: 0.9 },
  p: 0.001,
  prediction: null,
  tauSquared: 0.002,
  tauSquaredLimits: { lower: 0, upper: 0.02 },
  iSquared: 0.4,
  q: 5,
  qDegreesOfFreedom: 2,
  qP: 0.2,
  commonSd: 0,
  warnings: [],
};
const SHOWN: ViewedQuantity = {
  kind: 'retained-share',
  year: 1,
  scale: 'identity',
  patients: 120,
  twoStage: MEAN,
  oneStage: { estimate: 0.79, interval: { kind: 'bounded', lower: 0.75, upper: 0.83 } },
  between: null,
  own: { centre: 'mine', patients: 21, estimate: 0.9, interval: { kind: 'at-least', lower: 0.4 } },
  rows: [],
  withoutOne: [],
  leftOut: [],
  rowsWithheld: null,
};
const HIDDEN: ViewedQuantity = {
  ...SHOWN,
  year: 2,
  patients: null,
  twoStage: null,
  oneStage: null,
  own: null,
};
const REFUSED: ViewedQuantity = {
  ...SHOWN,
  year: 3,
  twoStage: { refused: 'too-few-centres', message: 'Two.' },
};
const MEASURE: ViewedMeasure = {
  measure: 'Co-Gn',
  centres: 3,
  treated: 130,
  treatedBetween: { lower: 120, upper: 140 },
  inRiskSet: null,
  leftOut: [{ reason: 'no-follow-up', patients: null }],
  flow: [],
  flowByCentre: [],
  quantities: [SHOWN, HIDDEN, { ...SHOWN, rowsWithheld: 2 }],
  survivalDifferences: null,
  separationDifferences: null,
  spread: null,
  groups: [],
  groupTest: null,
  competing: [],
};
const ANSWER: Parameters<typeof contextOf>[1] = {
  view: { level: 0.95 },
  numbers: [
    { centre: 'other', number: 2 },
    { centre: 'mine', number: 5 },
  ],
};
const LINK: PoolingLink = {
  role: 'centre',
  address: 'https://pool.example',
  study: 's',
  member: 'mine',
  number: 5,
  device: 'd',
  linkedAt: '2026-03-01T00:00:00Z',
};

function cellsOf(quantity: ViewedQuantity, link: PoolingLink): Record<string, string> {
  const columns = quantityColumns(contextOf('Co-Gn', ANSWER, link));
  return Object.fromEntries(columns.map(({ key, text }) => [key, text(quantity).replaceAll('\u00a0', ' ')]));
}

describe('the table of pooled results', () => {
  it('gives patients, centres, interval, both ways of pooling, and the own clinic', () => {
    expect(cellsOf(SHOWN, LINK)).toEqual({
      what: 'Year 1',
      patients: '120',
      centres: '3',
      mean: '80 % (70 % to 90 %)',
      prediction: '\u2013',
      i2: '40 %',
      p: '0.200',
      series: '79 % (75 % to 83 %)',
      own: '90 % (40 % or more; 21)',
    });
  });

  it('says that a result is withheld, and shows no number of it', () => {
    const cells = cellsOf(HIDDEN, LINK);
    expect(cells).toMatchObject({ patients: WITHHELD, mean: WITHHELD, series: WITHHELD });
    expect(Object.values(cells).join('')).not.toMatch(/\d %/);
  });

  it('has no column of an own clinic for who is none', () => {
    expect(cellsOf(SHOWN, { ...LINK, role: 'reader' })).not.toHaveProperty('own');
  });
});

describe('a pooled answer', () => {
  it('counts everything that is withheld', () => {
    expect(withheldCount(MEASURE)).toBe(5);
  });

  it('opens at the last year that has a mean over centres', () => {
    expect(bestPlace([SHOWN, { ...SHOWN, year: 2 }, HIDDEN, REFUSED])).toBe(1);
    expect(bestPlace([HIDDEN, REFUSED])).toBe(0);
  });

  it('says how many patients it holds, or between which limits', () => {
    const said = (from: number, to: number | null): string =>
      patientRangeText({ from, to }).replaceAll('\u00a0', ' ');
    expect(said(420, 420)).toBe('420 treated patients');
    expect(said(400, 420)).toBe('between 400 and 420 treated patients');
    expect(said(400, null)).toBe('400 treated patients or more');
  });

  it('calls a centre by its number, and the own one so for a clinic only', () => {
    const { nameOf } = contextOf('Co-Gn', ANSWER, LINK);
    expect(nameOf('mine')).toBe('Your clinic');
    expect(nameOf('other')).toBe('Centre 2');
    expect(contextOf('Co-Gn', ANSWER, { ...LINK, role: 'coordinator' }).nameOf('mine')).toBe('Centre 5');
  });
});

import { describe, expect, it } from 'vitest';
import { carriedSentences, quantitySentences } from './pooled-words';
import type { ViewedQuantity } from './view';

const MEAN = {
  centres: 4,
  estimate: 0.81,
  limits: { lower: 0.74, upper: 0.88 },
  p: 0.001,
  prediction: { lower: 0.66, upper: 0.95 },
  tauSquared: 0.002,
  tauSquaredLimits: { lower: 0, upper: 0.02 },
  iSquared: 0.41,
  q: 5,
  qDegreesOfFreedom: 3,
  qP: 0.17,
  commonSd: 0,
  warnings: [],
};
const QUANTITY: ViewedQuantity = {
  kind: 'retained-share',
  year: 3,
  scale: 'identity',
  patients: 1312,
  twoStage: MEAN,
  oneStage: { estimate: 0.8, interval: { kind: 'bounded', lower: 0.77, upper: 0.83 } },
  between: null,
  own: { centre: 'c', patients: 41, estimate: 0.9, interval: { kind: 'whole-line' } },
  rows: [],
  withoutOne: [],
  leftOut: [],
  rowsWithheld: null,
};
const OF = { measure: 'Co-Gn', level: 0.95 };

/** Non-breaking spaces as plain ones. */
const said = (quantity: ViewedQuantity): string =>
  quantitySentences(quantity, OF).join('\n').replaceAll('\u00a0', ' ');

describe('the sentences of a pooled quantity', () => {
  it('begin with the mean over centres, its interval, centres and patients', () => {
    expect(said(QUANTITY).split('\n')).toEqual([
      'Gain kept at year 3: 81 % (95 % interval 74 % to 88 %; 4 centres, 1,312 patients behind it).',
      'In a further centre of this kind the true value is expected between 66 % and 95 %.',
      "That the centres differ is not shown (p = 0.170): 41 % of the variance of the centres' estimates lies between centres.",
      'With 4 centres how much centres differ is hardly known.',
      'All patients taken as one series give 80 % (95 % interval 77 % to 83 %, 1,312 patients behind it).',
      'This clinic alone: 90 % (95 % interval any share at all, 41 patients).',
    ]);
  });

  it('say that a number is withheld, and still give the own clinic', () => {
    const text = said({ ...QUANTITY, patients: null, twoStage: null, oneStage: null });
    expect(text).toMatch(/^Gain kept at year 3: withheld/);
    expect(text).toMatch(/This clinic alone: 90 %/);
    expect(text).not.toMatch(/81|80/);
  });

  it('say why there is no mean over centres', () => {
    const refusal = { refused: 'too-few-centres', message: 'Two centres are needed.' };
    expect(said({ ...QUANTITY, twoStage: refusal })).toMatch(/no mean over centres. Two centres are needed./);
  });

  it('warn where few centres carry the mean, and name the unit of a length', () => {
    const text = said({
      ...QUANTITY,
      kind: 'lasting',
      year: null,
      twoStage: { ...MEAN, estimate: 2.31, warnings: ['carried-by-few'] },
      oneStage: null,
      between: null,
      own: null,
    });
    expect(text).toMatch(/^Lasting gain: 2.3 mm/);
    expect(text).toMatch(/Few centres carry most of the weight/);
  });
});

describe('the sentences of what the limits of survival hold', () => {
  const all = { carried: 5, 'not-known': 0, none: 0 };

  it('name what they carry', () => {
    expect(carriedSentences({ growthReference: all, methodError: all }, 5)).toEqual([
      'The intervals of survival and second treatments hold what the number of patients leaves open, and how far expected growth and the method error may be off.',
    ]);
  });

  it('say in how many centres it is not known, and that the intervals are then too narrow', () => {
    const some = { carried: 3, 'not-known': 2, none: 0 };
    const nowhere = { carried: 0, 'not-known': 5, none: 0 };
    expect(carriedSentences({ growthReference: nowhere, methodError: some }, 5)).toEqual([
      'The intervals of survival and second treatments hold what the number of patients leaves open, and how far the method error may be off.',
      'How far expected growth may be off is not known in any centre; as much as that matters the intervals are too narrow.',
      'How far the method error may be off is not known in 2 of the 5 centres; as much as that matters the intervals are too narrow.',
    ]);
  });

  it('say nothing of what there is none of', () => {
    const none = { carried: 0, 'not-known': 0, none: 5 };
    expect(carriedSentences({ growthReference: none, methodError: none }, 5)).toEqual([
      'The intervals of survival and second treatments hold what the number of patients leaves open.',
    ]);
  });
});

import { describe, it } from 'vitest';
import { weightedKappa, type KappaWeights } from '@longhold/core/agreement';
import { isRefusal } from '@longhold/core/numeric';
import { expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, printed } from './tolerances';

interface Share {
  readonly share: number;
  readonly lower: number;
  readonly upper: number;
}
interface Table {
  readonly name: string;
  readonly table: readonly (readonly number[])[];
  readonly weights: KappaWeights;
  readonly level: number;
  readonly kappa: number;
  readonly standardError: number;
  readonly nullStandardError: number;
  readonly observedAgreement: number;
  readonly expectedAgreement: number;
  readonly sameCategory: Share;
  readonly withinOne: Share;
}

// Source: psych::cohen.kappa, binom.test, and the formula of Fleiss, Cohen and Everitt 1969; see r/weighted-kappa.R.
const { tables } = readFixture<{ tables: Table[] }>('weighted-kappa');

describe('weighted kappa agrees with psych', () => {
  it.each(tables)('$name', ({ table, weights, level, ...expected }) => {
    const actual = weightedKappa(table, { weights, level });
    if (isRefusal(actual)) throw new Error(actual.message);
    expectClose(actual.kappa, expected.kappa, CLOSED_FORM, 'kappa', 1e-3);
    expectClose(actual.standardError, expected.standardError, CLOSED_FORM, 'standard error');
    expectClose(actual.nullStandardError, expected.nullStandardError, CLOSED_FORM, 'null standard error');
    expectClose(actual.observedAgreement, expected.observedAgreement, CLOSED_FORM, 'observed');
    expectClose(actual.expectedAgreement, expected.expectedAgreement, CLOSED_FORM, 'expected');
    for (const which of ['sameCategory', 'withinOne'] as const) {
      expectClose(actual[which].share, expected[which].share, CLOSED_FORM, which);
      expectClose(actual[which].lower, expected[which].lower, CLOSED_FORM, `lower limit of ${which}`);
      expectClose(actual[which].upper, expected[which].upper, CLOSED_FORM, `upper limit of ${which}`);
    }
  });
});

describe('two raters of 200 patients (Fleiss, Cohen and Everitt 1969)', () => {
  const table = [
    [106, 10, 4],
    [22, 28, 10],
    [2, 12, 6],
  ];

  it('agree as printed, from memory: 0.429 unweighted', () => {
    const result = weightedKappa(table);
    if (isRefusal(result)) throw new Error(result.message);
    expectWithin(result.kappa, 0.429, printed(3));
    expectWithin(result.observedAgreement, 0.7, printed(3));
    expectWithin(result.expectedAgreement, 0.475, printed(3));
  });

  it('agree as printed, from memory: 0.507 by their weights', () => {
    const weights = [
      [1, 0, 0.4444],
      [0, 1, 0.6666],
      [0.4444, 0.6666, 1],
    ];
    const result = weightedKappa(table, { weights });
    if (isRefusal(result)) throw new Error(result.message);
    expectWithin(result.kappa, 0.507, printed(3));
    // Large-sample variance, also from memory.
    expectWithin(result.standardError ** 2, 0.003248, printed(6));
  });
});

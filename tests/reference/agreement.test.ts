import { describe, expect, it } from 'vitest';
import {
  detectableChange,
  duplicateError,
  duplicateSpread,
  intraclassCorrelations,
  smallestDetectableChange,
} from '@longhold/core/agreement';
import { isRefusal } from '@longhold/core/numeric';
import { expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, printed } from './tolerances';

interface Case {
  readonly name: string;
  readonly first: readonly number[];
  readonly second: readonly number[];
  readonly pairs: number;
  readonly dahlberg: number;
  readonly dahlbergLimits: { readonly lower: number; readonly upper: number };
  readonly moments: number;
  readonly momentsLimits: { readonly lower: number; readonly upper: number };
  readonly biasLimits: { readonly lower: number; readonly upper: number };
  readonly detectable: number;
  readonly detectableUpper: number;
  readonly detectableOfTen: number;
  readonly bias: number;
  readonly biasT: number;
  readonly biasP: number;
  readonly smallestDetectableChange: number;
  readonly intraclassAgreement: number;
}

// Source: sum(), sd(), qchisq() and t.test(paired = TRUE) of R; see r/agreement.R.
const { cases, level } = readFixture<{ level: number; cases: Case[] }>('agreement');

describe('method error from duplicates agrees with R', () => {
  it.each(cases)('$name', (expected) => {
    const error = duplicateError(
      expected.first.map((first, i) => [first, expected.second[i] ?? NaN]),
      level,
    );
    if (error === null) throw new Error('no error estimate');
    expect(error.pairs).toBe(expected.pairs);
    expectClose(error.dahlberg, expected.dahlberg, CLOSED_FORM, 'Dahlberg');
    expectClose(error.dahlbergLimits.lower, expected.dahlbergLimits.lower, CLOSED_FORM, 'lower limit');
    expectClose(error.dahlbergLimits.upper, expected.dahlbergLimits.upper, CLOSED_FORM, 'upper limit');
    expectClose(error.moments, expected.moments, CLOSED_FORM, 'moments');
    expectClose(error.bias, expected.bias, CLOSED_FORM, 'bias');
    expectClose(error.biasP, expected.biasP, CLOSED_FORM, 'p of no bias');
    expectClose(
      smallestDetectableChange(error.dahlberg),
      expected.smallestDetectableChange,
      CLOSED_FORM,
      'smallest detectable change',
    );
  });

  it.each(cases)('limits of the method of moments, the bias and the detectable change: $name', (expected) => {
    const { first, second } = expected;
    const spread = duplicateSpread({ first, second }, { level });
    if (isRefusal(spread)) throw new Error(spread.message);
    const { momentsLimits, biasLimits } = spread;
    expectClose(momentsLimits?.lower ?? NaN, expected.momentsLimits.lower, CLOSED_FORM, 'lower moments');
    expectClose(momentsLimits?.upper ?? NaN, expected.momentsLimits.upper, CLOSED_FORM, 'upper moments');
    expectClose(biasLimits.lower, expected.biasLimits.lower, CLOSED_FORM, 'lower bias');
    expectClose(biasLimits.upper, expected.biasLimits.upper, CLOSED_FORM, 'upper bias');
    expectClose(spread.biasT ?? NaN, expected.biasT, CLOSED_FORM, 't of bias');
    const change = detectableChange({ sd: spread.moments, df: spread.pairs - 1 }, { groupSize: 10, level });
    if (isRefusal(change)) throw new Error(change.message);
    expectClose(change.patient, expected.detectable, CLOSED_FORM, 'detectable change');
    expectClose(change.patientLimits?.upper ?? NaN, expected.detectableUpper, CLOSED_FORM, 'its upper limit');
    const ratings = first.map((value, i) => [value, second[i] ?? NaN]);
    const intraclass = intraclassCorrelations(ratings);
    if (isRefusal(intraclass)) throw new Error(intraclass.message);
    expectClose(
      intraclass.coefficients[1]?.estimate ?? NaN,
      expected.intraclassAgreement,
      CLOSED_FORM,
      'ICC(2,1)',
    );
    expectClose(change.group, expected.detectableOfTen, CLOSED_FORM, 'of ten patients');
  });

  it('gives the printed smallest detectable difference of a published analysis of variance', () => {
    // Residual mean square 1.64 of 72 patients measured twice (J Am Soc Nephrol, table): printed 3.55.
    const change = detectableChange({ sd: Math.sqrt(1.64), df: 71 });
    if (isRefusal(change)) throw new Error(change.message);
    expectWithin(change.patient, 3.55, printed(2));
  });

  it('tells a constant difference from random error in the constructed SNB readings', () => {
    const snb = cases.find((one) => one.name.startsWith('SNB'));
    const error = duplicateError((snb?.first ?? []).map((first, i) => [first, snb?.second[i] ?? NaN]));
    if (error === null) throw new Error('no error estimate');
    // Worked by hand: mean difference 0.33, sum of squares 1.81, SD of differences 0.2830, t 3.687 on 9 df.
    expectWithin(error.bias, 0.33, printed(2));
    expectWithin(error.dahlberg, Math.sqrt(1.81 / 20), 1e-9);
    expectWithin(error.moments, 0.2001, printed(4));
    expectWithin(error.biasP, 0.005, printed(3));
    expectWithin(smallestDetectableChange(error.dahlberg), 0.834, printed(3));
    expectWithin(smallestDetectableChange(error.moments), 0.555, printed(3));
  });
});

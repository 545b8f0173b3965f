import { describe, expect, it } from 'vitest';
import { intraclassCorrelations, withinSubjectSpread } from '@longhold/core/agreement';
import { isRefusal, type Refusal } from '@longhold/core/numeric';
import { expectClose, expectWithin } from './closeness';
import { readFixture, readPublished, type NumberOrNull } from './fixture';
import { CLOSED_FORM, MAXIMUM_PLACE, printed } from './tolerances';

interface Coefficient {
  readonly form: string;
  readonly estimate: number;
  readonly f: number;
  readonly df1: number;
  readonly df2: number;
  readonly p: number;
  readonly lower: NumberOrNull;
  readonly upper: NumberOrNull;
}
interface Table {
  readonly name: string;
  readonly level: number;
  readonly ratings: readonly (readonly number[])[];
  readonly coefficients: readonly Coefficient[];
  readonly meanSquares: { readonly subjects: number; readonly raters: number; readonly error: number };
  readonly standardErrorAgreement: number;
  readonly standardErrorConsistency: number;
}
interface Limits {
  readonly lower: number;
  readonly upper: number;
}
interface Spread {
  readonly name: string;
  readonly level: number;
  readonly subject: readonly number[];
  readonly value: readonly number[];
  readonly withinSd: number;
  readonly df: number;
  readonly withinLimits: Limits;
  readonly betweenVariance: number;
  readonly effectiveReplicates: number;
  readonly reliability: number;
  readonly reliabilityLimits: Limits;
  readonly byLikelihood?: { readonly between: number; readonly within: number };
}

// Source: psych::ICC, aov and nlme::lme; see r/intraclass.R, also for the limits of a negative ICC(2,1).
const fixture = readFixture<{ tables: Table[]; spreads: Spread[] }>('intraclass');

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

describe('intraclass correlations agree with psych', () => {
  it.each(fixture.tables)('$name', ({ ratings, level, coefficients, meanSquares, ...expected }) => {
    const actual = answered(intraclassCorrelations(ratings, { level }));
    expectClose(actual.meanSquares.subjects, meanSquares.subjects, CLOSED_FORM, 'subjects');
    expectClose(actual.meanSquares.raters, meanSquares.raters, CLOSED_FORM, 'raters');
    expectClose(actual.meanSquares.error, meanSquares.error, CLOSED_FORM, 'error');
    expectClose(actual.standardErrorAgreement, expected.standardErrorAgreement, CLOSED_FORM, 'agreement');
    expectClose(
      actual.standardErrorConsistency,
      expected.standardErrorConsistency,
      CLOSED_FORM,
      'consistency',
    );
    expect(actual.coefficients.map(({ form }) => form)).toEqual(coefficients.map(({ form }) => form));
    coefficients.forEach((one, i) => {
      const { form } = one;
      const found = actual.coefficients[i];
      expectClose(found?.estimate ?? NaN, one.estimate, CLOSED_FORM, form, 1e-3);
      expectClose(found?.f ?? NaN, one.f, CLOSED_FORM, `F of ${form}`);
      expectClose(found?.p ?? NaN, one.p, CLOSED_FORM, `p of ${form}`);
      expect([found?.df1, found?.df2]).toEqual([one.df1, one.df2]);
      if (one.lower === null || one.upper === null) return;
      expectClose(found?.lower ?? NaN, one.lower, CLOSED_FORM, `lower limit of ${form}`, 1e-3);
      expectClose(found?.upper ?? NaN, one.upper, CLOSED_FORM, `upper limit of ${form}`, 1e-3);
    });
  });
});

describe('the six coefficients of four judges (Shrout and Fleiss 1979)', () => {
  it('are those printed, to two decimals', () => {
    const ratings = readPublished('judges-1979.csv').map((row) => row.map(Number));
    const { coefficients, meanSquares } = answered(intraclassCorrelations(ratings));
    // Table 4 of the paper, from memory.
    [0.17, 0.29, 0.71, 0.44, 0.62, 0.91].forEach((value, i) =>
      expectWithin(coefficients[i]?.estimate ?? NaN, value, printed(2)),
    );
    // Table 3: mean squares.
    expectWithin(meanSquares.subjects, 11.24, printed(2));
    expectWithin(meanSquares.withinSubjects, 6.26, printed(2));
    expectWithin(meanSquares.raters, 32.49, printed(2));
    expectWithin(meanSquares.error, 1.02, printed(2));
  });
});

describe('within-subject spread agrees with aov', () => {
  it.each(fixture.spreads)('$name', ({ subject, value, level, ...expected }) => {
    const actual = answered(withinSubjectSpread({ subject, value }, { level }));
    expectClose(actual.withinSd, expected.withinSd, CLOSED_FORM, 'within SD');
    expect(actual.df).toBe(expected.df);
    expectClose(
      actual.withinLimits?.lower ?? NaN,
      expected.withinLimits.lower,
      CLOSED_FORM,
      'its lower limit',
    );
    expectClose(
      actual.withinLimits?.upper ?? NaN,
      expected.withinLimits.upper,
      CLOSED_FORM,
      'its upper limit',
    );
    expectClose(actual.betweenVariance, expected.betweenVariance, CLOSED_FORM, 'between variance', 1e-2);
    expectClose(actual.effectiveReplicates, expected.effectiveReplicates, CLOSED_FORM, 'replicates');
    expectClose(actual.reliability, expected.reliability, CLOSED_FORM, 'reliability', 1e-2);
    const limits = actual.reliabilityLimits;
    expectClose(limits?.lower ?? NaN, expected.reliabilityLimits.lower, CLOSED_FORM, 'lower limit', 1e-2);
    expectClose(limits?.upper ?? NaN, expected.reliabilityLimits.upper, CLOSED_FORM, 'upper limit', 1e-2);
  });

  it.each(fixture.spreads.filter(({ byLikelihood }) => byLikelihood !== undefined))(
    'and, balanced, with the components of nlme: $name',
    ({ subject, value, byLikelihood }) => {
      const actual = answered(withinSubjectSpread({ subject, value }));
      expectClose(actual.betweenVariance, byLikelihood?.between ?? NaN, MAXIMUM_PLACE, 'between variance');
      expectClose(actual.withinSd ** 2, byLikelihood?.within ?? NaN, MAXIMUM_PLACE, 'within variance');
    },
  );
});

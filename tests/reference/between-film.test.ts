import { filmErrorComponents, type AgreementLimits } from '@longhold/core/agreement';
import { fitLinearMixedModel } from '@longhold/core/mixed';
import { describe, expect, it } from 'vitest';
import { answered } from './answered';
import { expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, printed, VARIANCE_COMPONENT } from './tolerances';

interface Part {
  readonly sd: number;
  readonly limits: AgreementLimits;
}

interface Case {
  readonly name: string;
  readonly visit: number[];
  readonly film: number[];
  readonly value: number[];
  readonly visits: number;
  readonly visitsWithFilms: number;
  readonly films: number;
  readonly df: number;
  readonly filmMeanSquare: number;
  readonly retracingShare: number;
  readonly retracing: Part & { readonly df: number };
  readonly betweenFilms: Part & { readonly variance: number };
  readonly whole: Part;
  readonly lme4: { readonly visit: number; readonly film: number; readonly retracing: number };
}

// Source: tapply(), qchisq() and qf() of R, anova(lm()) and lme4 where numbers are equal; see r/between-film.R.
const { cases, level } = readFixture<{ level: number; cases: Case[] }>('between-film');

function caseOf(name: string): Case {
  const found = cases.find((one) => one.name === name);
  if (found === undefined) throw new Error(name);
  return found;
}

/** Lower limits may be 0 on both sides; sizes are of the order of 1. */
function expectPart(
  actual: { sd: number; limits: AgreementLimits | null } | null,
  expected: Part,
  what: string,
) {
  expectClose(actual?.sd ?? NaN, expected.sd, CLOSED_FORM, what, 1);
  expectClose(actual?.limits?.lower ?? NaN, expected.limits.lower, CLOSED_FORM, `lower limit, ${what}`, 1);
  expectClose(actual?.limits?.upper ?? NaN, expected.limits.upper, CLOSED_FORM, `upper limit, ${what}`, 1);
}

describe('error between films and of retracing agree with R', () => {
  it.each(cases)('$name', (expected) => {
    const found = answered(filmErrorComponents(expected, { level }));
    const { visits, visitsWithFilms, films, df } = expected;
    expect(found).toMatchObject({ visits, visitsWithFilms, films, df, readings: expected.value.length });
    expectClose(found.filmMeanSquare, expected.filmMeanSquare, CLOSED_FORM, 'mean square of films');
    expectClose(found.retracingShare, expected.retracingShare, CLOSED_FORM, 'share of retracing');
    expect(found.retracing?.df).toBe(expected.retracing.df);
    expectPart(found.retracing, expected.retracing, 'retracing');
    expectClose(
      found.betweenFilms?.variance ?? NaN,
      expected.betweenFilms.variance,
      CLOSED_FORM,
      'variance',
      1,
    );
    expectPart(found.betweenFilms, expected.betweenFilms, 'between films');
    expectPart(found.whole, expected.whole, 'whole error');
  });

  it('holds films that differ less than retracing makes them, whose lower limit is 0', () => {
    const { betweenFilms } = caseOf('films alike');
    expect(betweenFilms.variance).toBeLessThan(0);
    expect(betweenFilms.limits.lower).toBe(0);
    expect(betweenFilms.limits.upper).toBeGreaterThan(0);
  });
});

// Davies and Goldsmith 1972, strength of pastes: SD of casks within batches 2.904, of assays 0.823, from memory, as
// lme4's documentation prints them.
it('the worked example of pastes in casks in batches gives the printed components', () => {
  const found = answered(filmErrorComponents(caseOf('pastes of Davies and Goldsmith')));
  expectWithin(found.betweenFilms?.sd ?? NaN, 2.904, printed(3), 'casks');
  expectWithin(found.retracing?.sd ?? NaN, 0.823, printed(3), 'assays');
});

describe('the nested mixed model, which takes true values as random, agrees with lme4', () => {
  it.each(cases.filter(({ lme4 }) => lme4.film > 0))('$name', ({ visit, film, value, lme4 }) => {
    const ones = [{ name: 'level', values: value.map(() => 1) }];
    const fit = answered(
      fitLinearMixedModel({
        response: value,
        fixed: ones,
        random: { factor: 'film', labels: film, columns: ones },
        outer: { factor: 'visit', labels: visit, columns: ones },
      }),
    );
    expectClose(fit.randomCovariance[0] ?? NaN, lme4.film, VARIANCE_COMPONENT, 'films');
    expectClose(fit.outerCovariance[0] ?? NaN, lme4.visit, VARIANCE_COMPONENT, 'visits');
    expectClose(fit.residualSd ** 2, lme4.retracing, VARIANCE_COMPONENT, 'retracing');
  });

  // The two estimators weigh films differently, so that they need not agree where numbers are unequal.
  it('lies well within the limits of the analysis of variance where numbers are unequal', () => {
    const { betweenFilms, retracing, lme4 } = caseOf('unbalanced films');
    expect(Math.sqrt(lme4.film)).toBeGreaterThan(betweenFilms.limits.lower);
    expect(Math.sqrt(lme4.film)).toBeLessThan(betweenFilms.limits.upper);
    expect(Math.sqrt(lme4.retracing)).toBeGreaterThan(retracing.limits.lower);
    expect(Math.sqrt(lme4.retracing)).toBeLessThan(retracing.limits.upper);
  });
});

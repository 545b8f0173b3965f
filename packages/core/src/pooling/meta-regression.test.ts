import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../numeric';
import { metaRegression, type MetaRegression } from './meta-regression';
import { randomEffects, type PoolingOptions } from './random-effects';
import { subgroupMeans, type Subgroups } from './subgroups';

/** Invented. */
const STUDIES = {
  estimate: [1.2, 0.3, 2.4, 0.9, 1.8, 2.2, 0.1],
  variance: [0.2, 0.05, 0.5, 0.1, 0.33, 0.15, 0.2],
};
const YEARS = [3, 1, 6, 2, 5, 4, 1];

function answerOf<Answer>(result: Answer | Refusal): Answer {
  if (isRefusal(result)) throw new Error(result.message);
  return result;
}

function onYears(values: readonly number[], options: PoolingOptions = {}): MetaRegression {
  const terms = [{ kind: 'numeric', name: 'years', values }] as const;
  return answerOf(metaRegression({ ...STUDIES, terms }, options));
}

describe('meta-regression', () => {
  it('has the same slope wherever the covariate has its zero, to the digits', () => {
    fc.assert(
      fc.property(fc.constantFrom(-5, 100, 2000), (shift) => {
        const plain = onYears(YEARS);
        const moved = onYears(YEARS.map((year) => year + shift));
        expect(moved.coefficients[1]?.estimate).toBeCloseTo(plain.coefficients[1]?.estimate ?? NaN, 10);
        expect(moved.between.tauSquared).toBeCloseTo(plain.between.tauSquared, 10);
        expect(moved.between.logLikelihood).toBeCloseTo(plain.between.logLikelihood ?? NaN, 8);
      }),
    );
  });

  it('of studies on a straight line finds the line, with nothing left', () => {
    const terms = [{ kind: 'numeric', name: 'dose', values: [0, 1, 2, 3] }] as const;
    const fit = answerOf(metaRegression({ estimate: [1, 3, 5, 7], variance: [1, 0.5, 2, 1], terms }));
    expect(fit.coefficients[0]?.estimate).toBeCloseTo(1, 12);
    expect(fit.coefficients[1]?.estimate).toBeCloseTo(2, 12);
    expect(fit.between.tauSquared).toBe(0);
    expect(fit.rSquared).toBe(1);
  });

  it('has no R^2 where there was no heterogeneity to explain', () => {
    const terms = [{ kind: 'numeric', name: 'dose', values: [0, 1, 2, 3] }] as const;
    const fit = answerOf(metaRegression({ estimate: [1, 1.1, 0.9, 1], variance: [1, 1, 1, 1], terms }));
    expect(fit).toMatchObject({ tauSquaredWithout: 0, rSquared: null });
  });

  it('tests one slope by F as the square of its t', () => {
    const { omnibus, coefficients } = onYears(YEARS);
    expect(omnibus.statistic).toBeCloseTo((coefficients[1]?.statistic ?? NaN) ** 2, 9);
    expect(omnibus.p).toBeCloseTo(coefficients[1]?.p ?? NaN, 11);
  });

  it.each([
    ['a constant covariate', [2, 2, 2, 2, 2, 2, 2], 'dependent-columns'],
    ['a covariate of the wrong length', [1, 2], 'wrong-length'],
    ['a covariate that is not a number', [1, 2, 3, NaN, 5, 6, 7], 'wrong-value'],
  ])('refuses %s', (_, values, refused) => {
    const terms = [{ kind: 'numeric', name: 'years', values }] as const;
    expect(metaRegression({ ...STUDIES, terms })).toMatchObject({ refused });
  });

  it('refuses as many coefficients as studies', () => {
    const terms = [
      { kind: 'numeric', name: 'a', values: [1, 2, 4] },
      { kind: 'numeric', name: 'b', values: [1, 0, 5] },
    ] as const;
    const result = metaRegression({ estimate: [1, 2, 3], variance: [1, 1, 1], terms });
    expect(isRefusal(result) && result.message).toContain('at least 4 are needed to estimate 3 coefficients');
  });
});

describe('means of subgroups', () => {
  const group = ['north', 'south', 'north', 'south', 'north', 'north', 'south'];

  function grouped(options: Parameters<typeof subgroupMeans>[1] = {}): Subgroups {
    return answerOf(subgroupMeans({ ...STUDIES, group }, options));
  }

  it('with a common tau^2 are the meta-regression on the group', () => {
    const regression = answerOf(
      metaRegression({ ...STUDIES, terms: [{ kind: 'factor', name: 'region', values: group }] }),
    );
    const { groups, betweenGroups } = grouped();
    expect(groups.map((mean) => mean.group)).toEqual(['north', 'south']);
    expect(groups[0]?.estimate).toBeCloseTo(regression.coefficients[0]?.estimate ?? NaN, 11);
    const difference = (groups[1]?.estimate ?? NaN) - (groups[0]?.estimate ?? NaN);
    expect(difference).toBeCloseTo(regression.coefficients[1]?.estimate ?? NaN, 11);
    expect(betweenGroups.statistic).toBeCloseTo(regression.omnibus.statistic ?? NaN, 9);
    expect(betweenGroups.p).toBeCloseTo(regression.omnibus.p ?? NaN, 11);
  });

  it('with separate tau^2 are the analyses of each group alone', () => {
    const north = group.flatMap((label, i) => (label === 'north' ? [i] : []));
    const alone = answerOf(
      randomEffects({
        estimate: north.map((i) => STUDIES.estimate[i] ?? NaN),
        variance: north.map((i) => STUDIES.variance[i] ?? NaN),
      }),
    );
    const mean = grouped({ tauSquared: 'separate' }).groups[0];
    expect(mean?.estimate).toBe(alone.estimate);
    expect(mean?.interval).toEqual(alone.interval);
  });

  it.each([
    ['one group', ['a', 'a', 'a', 'a', 'a', 'a', 'a'], 'one-group'],
    ['a label too few', ['a', 'b'], 'wrong-length'],
    ['a group for each study', [1, 2, 3, 4, 5, 6, 7], 'too-few-studies'],
  ])('are refused for %s', (_, labels: readonly (string | number)[], refused) => {
    expect(subgroupMeans({ ...STUDIES, group: labels })).toMatchObject({ refused });
  });

  it('with separate tau^2 are refused for a group of one, which is named', () => {
    const result = subgroupMeans(
      { ...STUDIES, group: ['a', 'a', 'a', 'b', 'b', 'b', 'lone'] },
      { tauSquared: 'separate' },
    );
    expect(isRefusal(result) && result.message).toContain('The group lone has one study');
  });
});

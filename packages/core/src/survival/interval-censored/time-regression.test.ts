import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal, type DesignTerm } from '../../numeric';
import type { TimeDistribution } from './error-distributions';
import type { IntervalTimes } from './interval-times';
import { predictTimes } from './time-prediction';
import {
  timeRegression,
  type TimeRegression,
  type TimeRegressionInput,
  type TimeRegressionOptions,
} from './time-regression';

const DISTRIBUTIONS: readonly TimeDistribution[] = ['exponential', 'weibull', 'log-logistic', 'log-normal'];

function fitted(input: TimeRegressionInput, options: TimeRegressionOptions = {}): TimeRegression {
  const fit = timeRegression(input, options);
  if (isRefusal(fit)) throw new Error(fit.message);
  return fit;
}

/** Invented: yearly visits, some times exact, two groups. */
function sample(size: number, seed: number): { times: IntervalTimes; group: string[] } {
  const random = createRandom(seed);
  const group = Array.from({ length: size }, (_, i) => (i % 2 === 0 ? 'a' : 'b'));
  const time = group.map(
    (label) => Math.exp(1 + (label === 'b' ? 0.4 : 0)) * random.exponential(1) ** 0.7 + 0.01,
  );
  const left = time.map((t, i) => (i % 5 === 0 ? t : Math.min(6, Math.floor(t))));
  const right = time.map((t, i) => (i % 5 === 0 ? t : t > 6 ? Infinity : Math.ceil(t)));
  return { times: { left, right }, group };
}

const { times, group } = sample(60, 3);
const terms: DesignTerm[] = [{ kind: 'factor', name: 'group', values: group }];

describe.each(DISTRIBUTIONS)('the regression of %s times', (distribution) => {
  const fit = fitted({ times, distribution, terms });

  it('moves only its intercept when the unit of time changes', () => {
    const scaled = (values: ArrayLike<number>): number[] => Array.from(values, (value) => value * 12);
    const months = fitted({
      times: { left: scaled(times.left), right: scaled(times.right) },
      distribution,
      terms,
    });
    expect((months.coefficients[0]?.estimate ?? NaN) - (fit.coefficients[0]?.estimate ?? NaN)).toBeCloseTo(
      Math.log(12),
      8,
    );
    expect(months.coefficients[1]?.timeRatio?.lower).toBeCloseTo(
      fit.coefficients[1]?.timeRatio?.lower ?? NaN,
      8,
    );
    expect(months.scale.estimate).toBeCloseTo(fit.scale.estimate, 8);
  });

  it('turns its time ratio over when the other level is the reference', () => {
    const turned = fitted({
      times,
      distribution,
      terms: [{ kind: 'factor', name: 'group', values: group, levels: ['b', 'a'] }],
    });
    const ratio = fit.coefficients[1]?.timeRatio;
    expect(turned.coefficients[1]?.timeRatio?.upper).toBeCloseTo(1 / (ratio?.lower ?? NaN), 8);
    expect(turned.logLikelihood).toBeCloseTo(fit.logLikelihood, 9);
  });

  it('takes counts for as many patients', () => {
    const twice = <Value>(values: ArrayLike<Value>): Value[] => [
      ...Array.from(values),
      ...Array.from(values),
    ];
    const count = Array.from(times.left, () => 2);
    const counted = fitted({ times: { ...times, count }, distribution, terms });
    const written = fitted({
      times: { left: twice(times.left), right: twice(times.right) },
      distribution,
      terms: [{ kind: 'factor', name: 'group', values: twice(group) }],
    });
    expect(counted.logLikelihood).toBeCloseTo(written.logLikelihood, 8);
    expect(counted.coefficients[1]?.standardError).toBeCloseTo(
      written.coefficients[1]?.standardError ?? NaN,
      9,
    );
    expect(counted.observations).toBe(120);
  });

  it('comes to the exact times as intervals shrink around them', () => {
    const exact = Array.from(times.left, (left, i) => left + 0.3 + (i % 7) / 10);
    const narrow = {
      left: exact.map((time) => time * (1 - 1e-7)),
      right: exact.map((time) => time * (1 + 1e-7)),
    };
    const atExact = fitted({ times: { left: exact, right: exact }, distribution, terms });
    const atNarrow = fitted({ times: narrow, distribution, terms });
    atExact.coefficients.forEach(({ estimate, standardError }, j) => {
      expect(atNarrow.coefficients[j]?.estimate).toBeCloseTo(estimate, 6);
      expect((atNarrow.coefficients[j]?.standardError ?? NaN) / standardError).toBeCloseTo(1, 4);
    });
  });

  it('has each patient a cluster of its own for its plain sandwich', () => {
    const alone = fitted({ times, distribution, terms, cluster: group.map((_, i) => i) });
    expect(fitted({ times, distribution, terms }, { robust: true }).covariance).toEqual(alone.covariance);
    expect(alone.likelihoodRatio).toBeNull();
  });

  it('predicts a survival that falls, through its own median', () => {
    const prediction = predictTimes(fit, { group: 'b' }, [0.5, 1, 2, 4], [0.5]);
    if (isRefusal(prediction)) throw new Error(prediction.message);
    prediction.survival.forEach(({ estimate, lower, upper }, i) => {
      expect(estimate).toBeLessThan(prediction.survival[i - 1]?.estimate ?? 1);
      expect(lower).toBeLessThan(estimate);
      expect(upper).toBeGreaterThan(estimate);
    });
    const median = predictTimes(fit, { group: 'b' }, [prediction.quantiles[0]?.estimate ?? NaN]);
    if (isRefusal(median)) throw new Error(median.message);
    expect(median.survival[0]?.estimate).toBeCloseTo(0.5, 10);
  });

  it('says that there is no maximum when one group was never seen with the event', () => {
    const right = Array.from(times.right, (value, i) => (group[i] === 'b' ? Infinity : value));
    const left = Array.from(times.left, (value, i) => (group[i] === 'b' && value === 0 ? 1 : value));
    const refused = timeRegression({ times: { left, right }, distribution, terms });
    expect(isRefusal(refused) ? refused.refused : refused.coefficients).toBe('no-maximum');
  });
});

describe('the regression of times', () => {
  const two = { left: [1, 2], right: [2, 3] };
  it.each<[string, TimeRegressionInput, TimeRegressionOptions, string]>([
    ['no times', { times: { left: [], right: [] }, distribution: 'weibull', terms: [] }, {}, 'no-data'],
    [
      'left above right',
      { times: { left: [3], right: [2] }, distribution: 'weibull', terms: [] },
      {},
      'not-an-interval',
    ],
    [
      'an exact time of 0',
      { times: { left: [0, 1], right: [0, 2] }, distribution: 'weibull', terms: [] },
      {},
      'zero-time',
    ],
    [
      'only right-censored times',
      { times: { left: [1, 2], right: [Infinity, Infinity] }, distribution: 'weibull', terms: [] },
      {},
      'no-events',
    ],
    [
      'only left-censored times',
      { times: { left: [0, 0], right: [1, 2] }, distribution: 'weibull', terms: [] },
      {},
      'no-events',
    ],
    [
      'one exact time',
      { times: { left: [2], right: [2] }, distribution: 'weibull', terms: [] },
      {},
      'scale-zero',
    ],
    [
      'equal exact times',
      { times: { left: [2, 2, 2], right: [2, 2, 2] }, distribution: 'log-normal', terms: [] },
      {},
      'scale-zero',
    ],
    [
      'intervals with a common point',
      { times: { left: [1, 1.5], right: [3, 2.5] }, distribution: 'log-normal', terms: [] },
      {},
      'no-maximum',
    ],
    [
      'a factor with one level',
      { times: two, distribution: 'weibull', terms: [{ kind: 'factor', name: 'g', values: ['a', 'a'] }] },
      {},
      'one-level',
    ],
    [
      'more columns than patients',
      {
        times: two,
        distribution: 'weibull',
        terms: [
          { kind: 'numeric', name: 'x', values: [1, 2] },
          { kind: 'numeric', name: 'y', values: [3, 1] },
        ],
      },
      {},
      'dependent-columns',
    ],
    [
      'clusters of another length',
      { times: two, distribution: 'exponential', terms: [], cluster: [1] },
      {},
      'wrong-length',
    ],
    [
      'as many coefficients as clusters',
      { times: two, distribution: 'exponential', terms: [], cluster: [1, 1] },
      {},
      'too-few-clusters',
    ],
    ['a level of 1', { times: two, distribution: 'weibull', terms: [] }, { level: 1 }, 'wrong-level'],
  ])('refuses %s', (_, input, options, code) => {
    const refused = timeRegression(input, options);
    expect(isRefusal(refused) ? refused.refused : refused.coefficients).toBe(code);
  });

  it('has the closed form of the exponential: events over time at risk', () => {
    const exponential = fitted({
      times: { left: [1, 2, 3, 4], right: [1, Infinity, 3, 4] },
      distribution: 'exponential',
      terms: [],
    });
    expect(exponential.coefficients[0]?.estimate).toBeCloseTo(Math.log(10 / 3), 10);
    expect(exponential.coefficients[0]?.standardError).toBeCloseTo(1 / Math.sqrt(3), 10);
  });

  it('has a sample of log-normal exact times at its mean and standard deviation', () => {
    const logs = [0.1, 0.7, 1.3, 2.2];
    const exact = logs.map(Math.exp);
    const fit = fitted({ times: { left: exact, right: exact }, distribution: 'log-normal', terms: [] });
    expect(fit.coefficients[0]?.estimate).toBeCloseTo(1.075, 10);
    expect(fit.scale.estimate ** 2).toBeCloseTo(logs.reduce((sum, x) => sum + (x - 1.075) ** 2, 0) / 4, 10);
  });

  it('finds its maximum with times and covariates far from 1', () => {
    const random = createRandom(5);
    const year = Array.from({ length: 50 }, (_, i) => 2000 + i / 5);
    const exact = year.map((value) => 1e-6 * Math.exp(0.1 * (value - 2005) + 0.01 * random.normal()));
    const fit = fitted({
      times: { left: exact, right: exact },
      distribution: 'log-normal',
      terms: [{ kind: 'numeric', name: 'year', values: year }],
    });
    expect(fit.coefficients[1]?.estimate).toBeCloseTo(0.1, 2);
  });

  it.each(DISTRIBUTIONS)('loses no digits of %s times to a covariate far from 0', (distribution) => {
    const random = createRandom(6);
    const near = Array.from(times.left, () => Math.round(random.normal() * 1024) / 1024);
    const offset = 2 ** 20;
    const withCovariate = (values: number[]): TimeRegression =>
      fitted({ times, distribution, terms: [...terms, { kind: 'numeric', name: 'x', values }] });
    const plain = withCovariate(near);
    const far = withCovariate(near.map((value) => value + offset));
    [1, 2].forEach((j) => {
      const [here, there] = [plain.coefficients[j], far.coefficients[j]];
      expect((there?.standardError ?? NaN) / (here?.standardError ?? NaN)).toBeCloseTo(1, 9);
      expect(there?.z).toBeCloseTo(here?.z ?? NaN, 7);
    });
    const here = predictTimes(plain, { group: 'b', x: 0.5 }, [3]);
    const there = predictTimes(far, { group: 'b', x: offset + 0.5 }, [3]);
    if (isRefusal(here) || isRefusal(there)) throw new Error('not predicted');
    expect(there.survival[0]?.lower).toBeCloseTo(here.survival[0]?.lower ?? NaN, 7);
    expect(there.quantiles[0]?.logStandardError).toBeCloseTo(here.quantiles[0]?.logStandardError ?? NaN, 8);
  });

  it('finds its maximum where small scatter lies around a covariate far from 0', () => {
    const values = [1, 2, 3, 4, 5, 6, 7, 8].map((value) => 1e6 + value);
    const exact = [1.02, 1.1, 1.13, 1.2, 1.32, 1.33, 1.43, 1.48];
    const input = { times: { left: exact, right: exact }, distribution: 'log-normal' as const };
    const far = fitted({ ...input, terms: [{ kind: 'numeric', name: 'x', values }] });
    const near = fitted({
      ...input,
      terms: [{ kind: 'numeric', name: 'x', values: values.map((value) => value - 1e6) }],
    });
    expect(far.coefficients[1]?.estimate).toBeCloseTo(near.coefficients[1]?.estimate ?? NaN, 9);
    expect(far.coefficients[1]?.standardError).toBeCloseTo(near.coefficients[1]?.standardError ?? NaN, 9);
  });

  it('leaves out entries with count 0, with their levels and clusters', () => {
    const left = Array.from(times.left);
    const right = Array.from(times.right);
    const given = {
      times: { left: [...left, 1, 2], right: [...right, 2, 3], count: [...left.map(() => 1), 0, 0] },
      distribution: 'weibull' as const,
      terms: [{ kind: 'factor', name: 'group', values: [...group, 'c', 'c'] }] satisfies DesignTerm[],
    };
    expect(fitted(given).coefficients).toEqual(
      fitted({ times, distribution: 'weibull', terms }).coefficients,
    );
    const cluster = [...left.map((_, i) => i % 3), 8, 9];
    expect(timeRegression({ ...given, cluster })).toMatchObject({ refused: 'too-few-clusters' });
  });

  it('says of times that could all be the same that it is the scale that has no end', () => {
    const refused = timeRegression({
      times: { left: [1, 1, 1], right: [2, 2, 3] },
      distribution: 'weibull',
      terms: [],
    });
    expect(isRefusal(refused) ? refused.message : refused).toContain('all times could be the same');
  });

  it('names the covariate that separates, not the intercept that follows it', () => {
    const refused = timeRegression({
      times: { left: [1, 2, 3, 4, 5, 6, 7, 8], right: [...new Array<number>(6).fill(Infinity), 7, 8] },
      distribution: 'weibull',
      terms: [{ kind: 'numeric', name: 'year', values: [0, 0, 0, 0, 0, 0, 1, 1].map((one) => 2010 + one) }],
    });
    expect(isRefusal(refused) ? refused.message : refused).toContain('as year grows');
  });

  it('refuses variances that no number can hold', () => {
    const values = Array.from(times.left, (_, i) => 1e-160 * ((i * 7) % 11));
    const refused = timeRegression({
      times,
      distribution: 'weibull',
      terms: [{ kind: 'numeric', name: 'x', values }],
    });
    expect(refused).toMatchObject({ refused: 'wrong-value' });
  });

  it.each([
    [{ group: 'c' }, [1], [0.5], 'unknown-level'],
    [{}, [1], [0.5], 'no-value'],
    [{ group: 'a' }, [0], [0.5], 'wrong-value'],
    [{ group: 'a' }, [1], [1], 'wrong-value'],
  ])('refuses to predict for %o at %o, %o', (subject, at, probabilities, code) => {
    const prediction = predictTimes(
      fitted({ times, distribution: 'weibull', terms }),
      { ...subject },
      at,
      probabilities,
    );
    expect(isRefusal(prediction) ? prediction.refused : prediction).toBe(code);
  });
});

import { describe, expect, it } from 'vitest';
import { isRefusal } from '../numeric';
import { criterionOf } from './profiled-deviance';
import { devianceOfFactors, fitLinearMixedModel, fitMixedModel, knownVariance } from './linear-mixed-model';
import { answered, inventedPatients, lines } from './mixed-data.fixture';
import { prepareMixedModel } from './mixed-model';
import type { MixedData } from './model-data';

// Elston and Grizzle 1962: ramus height (mm) of 20 boys at 8, 8.5, 9 and 9.5 years.
const RAMUS = `47.8 48.8 49.0 49.7|46.4 47.3 47.7 48.4|46.3 46.8 47.8 48.5|45.1 45.3 46.1 47.2|47.6 48.5 48.9 49.3
52.5 53.2 53.3 53.7|51.2 53.0 54.3 54.5|49.8 50.0 50.3 52.7|48.1 50.8 52.3 54.4|45.0 47.0 47.3 48.3
51.2 51.4 51.6 51.9|48.5 49.2 53.0 55.5|52.1 52.8 53.7 55.0|48.2 48.9 49.3 49.8|49.6 50.4 51.2 51.8
50.7 51.7 52.7 53.3|47.2 47.7 48.4 49.5|53.3 54.6 55.1 55.3|46.2 47.5 48.1 48.4|46.3 47.6 51.3 51.8`;
const AGES = [8, 8.5, 9, 9.5];
const ramus = RAMUS.split(/[|\n]/).map((row) => row.trim().split(' ').map(Number));
const boys = lines(
  ramus.flat(),
  ramus.flatMap(() => AGES.map((age) => age - 8.75)),
  ramus.flatMap((_, boy) => AGES.map(() => boy)),
);

const patients = inventedPatients(5, 60);
const free = lines(patients.response, patients.time, patients.label);
const nested: MixedData = {
  ...free,
  outer: {
    factor: 'centre',
    labels: patients.centre,
    columns: [
      { name: 'intercept', values: patients.time.map(() => 1) },
      { name: 'time', values: patients.time },
    ],
  },
};

describe('the linear mixed model', () => {
  it('finds the mean slope of the balanced ramus series, 1.866 mm a year (Elston and Grizzle 1962)', () => {
    const fit = answered(fitLinearMixedModel(boys));
    expect(fit.coefficients[1]).toBeCloseTo(1.866, 9);
    expect(fit.converged).toBe(true);
    expect(fit.gradient).toBeLessThan(1e-5);
  });

  it.each([
    ['one level, REML', free, 'REML'],
    ['one level, ML', free, 'ML'],
    ['diagonal covariance', { ...free, random: { ...free.random, structure: 'diagonal' } }, 'REML'],
    ['nested, REML', nested, 'REML'],
    ['nested, ML', nested, 'ML'],
    ['known residual', { ...nested, residual: { standardDeviation: 0.9 } }, 'REML'],
    ['weights', { ...nested, residual: { weights: patients.time.map((time) => 1 + time) } }, 'ML'],
  ] satisfies [string, MixedData, 'REML' | 'ML'][])(
    'has the derivatives that differences of its deviance give: %s',
    (_, data, name) => {
      const model = answered(prepareMixedModel(data));
      const deviance = devianceOfFactors(criterionOf(model, name), knownVariance(model));
      const size = answered(fitMixedModel(model, { criterion: name })).parameters;
      const point = Float64Array.from({ length: 6 }, (__, i) => [0.9, 0.2, 0.5, 0.7, -0.3, 0.4][i] ?? 0);
      expect(size).toBeGreaterThan(0);
      const gradient = deviance(point)?.gradient ?? new Float64Array(0);
      expect(gradient.length).toBeGreaterThan(1);
      gradient.forEach((slope, i) => {
        const at = (h: number): number =>
          deviance(point.map((entry, j) => (i === j ? entry + h : entry)))?.value ?? NaN;
        const h = 1e-3;
        const difference = (8 * (at(h) - at(-h)) - (at(2 * h) - at(-2 * h))) / (12 * h);
        expect(Math.abs(slope - difference)).toBeLessThan(1e-6 * Math.max(1, Math.abs(slope)));
      });
    },
  );

  it('calls a fit singular when the groups share one slope', () => {
    // Residuals orthogonal to level and slope: every group's own line is the same line.
    const times = [-1, 0, 1, 2];
    const shared = lines(
      Array.from({ length: 40 }, (_, i) =>
        times.map((time, k) => 10 + 2 * time + (k === 0 || k === 3 ? 1 : -1) * (i % 2 === 0 ? 1 : -1)),
      ).flat(),
      Array.from({ length: 40 }, () => times).flat(),
      Array.from({ length: 40 }, (_, i) => times.map(() => i)).flat(),
    );
    const fit = answered(fitLinearMixedModel(shared));
    expect(fit.singular).toBe(true);
    expect(fit.singularities.map(({ kind, effects }) => [kind, ...effects])).toEqual([
      ['zero-variance', 'intercept'],
      ['zero-variance', 'time'],
    ]);
    // With no variance between groups the fit is least squares, exact here.
    expect(fit.coefficients[0]).toBeCloseTo(10, 9);
    expect(fit.coefficients[1]).toBeCloseTo(2, 9);
    expect(fit.residualSd ** 2).toBeCloseTo(160 / 158, 9);
  });

  it('finds the higher of two maxima where rates by calendar year need a large factor', () => {
    const response = [
      104.764, 108.8662, 109.0296, 108.5728, 115.6269, 111.3539, 110.8369, 113.0059, 129.2598, 136.9864,
      133.8127, 130.4656, 131.1028,
    ];
    const year = [
      2006, 2007, 2008, 2007.538, 2010, 2014.866, 2014.437, 2015.626, 2014, 2017.28, 2015.734, 2014.407,
      2015.302,
    ];
    const data = lines(response, year, [0, 0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2, 2], { structure: 'diagonal' });
    const fit = answered(fitLinearMixedModel({ ...data, fixed: data.fixed.slice(0, 1) }));
    // lme4, y ~ 1 + (1 | g) + (0 + year | g)
    expect(fit.logLikelihood).toBeCloseTo(-36.193125255, 5);
  });

  const ones = (length: number): number[] => new Array<number>(length).fill(1);
  it.each<[string, MixedData, string, RegExp]>([
    ['nothing at all', lines([], [], []), 'too-few-responses', /response is empty/],
    ['a missing value', lines([1, NaN, 3], [0, 1, 2], [1, 1, 2]), 'wrong-value', /response\[1\] is NaN/],
    ['an infinite time', lines([1, 2, 3], [0, Infinity, 2], [1, 1, 2]), 'wrong-value', /time\[1\]/],
    ['a short column', lines([1, 2, 3], [0, 1], [1, 1, 2]), 'wrong-length', /2 entries where 3/],
    ['labels short', lines([1, 2, 3], [0, 1, 2], [1, 1]), 'wrong-length', /labels of patient have 2/],
    ['too few responses', lines([1, 2, 4], [0, 1, 2], [1, 1, 2]), 'too-few-responses', /3 responses for 6/],
    ['one patient', lines([1, 2, 4, 4, 5], [0, 1, 2, 3, 4], ones(5)), 'too-few-groups', /one patient only/],
    [
      'patients seen once',
      lines([1, 2, 4, 4, 5], [0, 1, 2, 3, 4], [1, 2, 3, 4, 5]),
      'no-repeats',
      /known residual standard deviation/,
    ],
    [
      'a constant response',
      lines([7, 7, 7, 7, 7, 7, 7, 7], [0, 1, 2, 3, 0, 1, 2, 3], [1, 1, 1, 1, 2, 2, 2, 2]),
      'no-residual-variation',
      /last digit/,
    ],
    [
      'a redundant fixed column',
      lines([1, 2, 4, 4, 5, 5, 3], ones(7), [1, 1, 1, 2, 2, 2, 2]),
      'redundant-columns',
      /fixed effects, column time/,
    ],
    [
      'a redundant random column',
      {
        ...free,
        random: {
          ...free.random,
          columns: [...free.random.columns, { name: 'late', values: patients.time.map((t) => t - 9) }],
        },
      },
      'redundant-columns',
      /random effects of patient, column late/,
    ],
    ['no fixed column', { ...free, fixed: [] }, 'no-columns', /intercept/],
    ['no random column', { ...free, random: { ...free.random, columns: [] } }, 'no-columns', /patient/],
    ['a residual of zero', { ...free, residual: { standardDeviation: 0 } }, 'wrong-value', /is 0/],
    [
      'a negative weight',
      { ...free, residual: { weights: patients.time.map(() => -1) } },
      'wrong-value',
      /weights\[0\]/,
    ],
    [
      'one centre',
      {
        ...nested,
        outer: { factor: 'centre', labels: patients.time.map(() => 'A'), columns: free.random.columns },
      },
      'too-few-groups',
      /one centre only/,
    ],
    [
      'a patient a centre',
      { ...nested, outer: { factor: 'centre', labels: patients.label, columns: free.random.columns } },
      'too-few-groups',
      /can't be told apart/,
    ],
    [
      'a fixed level for each patient',
      {
        ...lines([1, 2, 4, 4, 5, 7, 6], [0, 1, 2, 0, 1, 2, 3], [1, 1, 1, 2, 2, 2, 2], { slopes: false }),
        fixed: [
          { name: 'intercept', values: ones(7) },
          { name: 'second', values: [0, 0, 0, 1, 1, 1, 1] },
        ],
      },
      'unidentified-variance',
      /nothing tells how large/,
    ],
    [
      'lines without scatter',
      lines(
        [1, 2, 3, 4, 0, 3, 6, 9, 5, 5, 5, 5],
        [0, 1, 2, 3, 0, 1, 2, 3, 0, 1, 2, 3],
        [1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3],
      ),
      'no-residual-variation',
      /last digit/,
    ],
  ])('says what is wrong with data that carry no model: %s', (_, data, code, message) => {
    const fit = fitLinearMixedModel(data);
    if (!isRefusal(fit)) throw new Error('a fit was given');
    expect(fit.refused).toBe(code);
    expect(fit.message).toMatch(message);
  });
});

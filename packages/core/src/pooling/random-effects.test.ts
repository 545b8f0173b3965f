import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { chiSquaredQuantile, isRefusal, type Refusal } from '../numeric';
import { commonEffect } from './common-effect';
import { equalWeightsMean } from './equal-weights';
import { leaveOneOut } from './leave-one-out';
import { randomEffects, type PoolingOptions, type RandomEffects } from './random-effects';
import type { StudyEffects } from './studies';
import type { TauEstimator } from './between-study-variance';

const ESTIMATORS: readonly TauEstimator[] = [
  'restricted-maximum-likelihood',
  'maximum-likelihood',
  'paule-mandel',
  'dersimonian-laird',
  'hedges',
];

/** Invented. */
const CLINICS = { estimate: [1.2, 0.3, 2.4, 0.9, 1.8], variance: [0.2, 0.05, 0.5, 0.1, 0.33] };

const study = fc.record({
  estimate: fc.double({ min: -10, max: 10, noNaN: true }),
  variance: fc.double({ min: 0.01, max: 10, noNaN: true }),
});
const someStudies = (least: number): fc.Arbitrary<{ estimate: number; variance: number }[]> =>
  fc.array(study, { minLength: least, maxLength: 9 });

function columnsOf(rows: readonly { estimate: number; variance: number }[]): {
  estimate: number[];
  variance: number[];
} {
  return { estimate: rows.map((row) => row.estimate), variance: rows.map((row) => row.variance) };
}

function answerOf<Answer>(result: Answer | Refusal): Answer {
  if (isRefusal(result)) throw new Error(result.message);
  return result;
}

function fit(studies: StudyEffects, options: PoolingOptions = {}): RandomEffects {
  return answerOf(randomEffects(studies, options));
}

/** Sums as the textbook writes them, with weights 1 / (variance + tau^2). */
function textbook(
  { estimate, variance }: { estimate: readonly number[]; variance: readonly number[] },
  tauSquared: number,
) {
  const weights = variance.map((within) => 1 / (within + tauSquared));
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  const mean = weights.reduce((sum, weight, i) => sum + weight * (estimate[i] ?? NaN), 0) / total;
  const q = weights.reduce((sum, weight, i) => sum + weight * ((estimate[i] ?? NaN) - mean) ** 2, 0);
  const logs = weights.reduce((sum, weight) => sum + Math.log(weight), 0);
  const k = estimate.length;
  const full = (logs - q - k * Math.log(2 * Math.PI)) / 2;
  return { mean, q, full, restricted: full + (Math.log(2 * Math.PI) + Math.log(k) - Math.log(total)) / 2 };
}

describe('tau^2', () => {
  const grid = [0, ...Array.from({ length: 600 }, (_, i) => 1e-4 * 1.03 ** i)];

  it('by likelihood is nowhere beaten on a fine grid', () => {
    fc.assert(
      fc.property(someStudies(2), (rows) => {
        const studies = columnsOf(rows);
        for (const [estimator, kind] of [
          ['restricted-maximum-likelihood', 'restricted'],
          ['maximum-likelihood', 'full'],
        ] as const) {
          const { logLikelihood, tauSquared } = fit(studies, { estimator }).between;
          const height = logLikelihood ?? NaN;
          expect(height).toBeCloseTo(textbook(studies, tauSquared)[kind], 8);
          for (const place of grid) expect(textbook(studies, place)[kind]).toBeLessThanOrEqual(height + 1e-9);
        }
      }),
      { numRuns: 60 },
    );
  });

  it('is the higher of two maxima of the likelihood, whichever side it lies on, and the second is reported', () => {
    // Invented; found by search. One with the higher maximum at 0, one with the higher maximum away from 0.
    const atNought = fit({ estimate: [-1.3, -0.8, 3.7, 2.7], variance: [0.713, 0.018, 4.158, 23.012] });
    expect(atNought.between).toMatchObject({ modes: 2, tauSquared: 0 });
    const away = fit({
      estimate: [-1.9, 1.6, -3, -4.7, 1.5, -4.3],
      variance: [0.876, 0.028, 10.847, 7.109, 0.027, 15.531],
    });
    expect(away.between.modes).toBe(2);
    expect(away.between.tauSquared).toBeCloseTo(4.88, 2);
    expect(away.warnings).toContain('several-modes');
  });

  it('by Paule and Mandel makes Q its expectation, so that the variance factor is 1', () => {
    fc.assert(
      fc.property(someStudies(2), (rows) => {
        const { between, errors } = fit(columnsOf(rows), { estimator: 'paule-mandel' });
        if (between.tauSquared > 0) expect(errors.varianceFactor).toBeCloseTo(1, 11);
        else expect(errors.varianceFactor).toBeLessThanOrEqual(1);
      }),
    );
  });

  it('has Q-profile limits at which Q is its chi-squared quantile, or 0 where Q is smaller everywhere', () => {
    fc.assert(
      fc.property(someStudies(2), (rows) => {
        const studies = columnsOf(rows);
        const { tauSquaredInterval: limits } = fit(studies).heterogeneity;
        const degrees = rows.length - 1;
        for (const [limit, p] of [
          [limits.lower, 0.975],
          [limits.upper, 0.025],
        ] as const) {
          const wanted = chiSquaredQuantile(p, degrees);
          const { q } = textbook(studies, limit);
          if (limit === 0) expect(q).toBeLessThanOrEqual(wanted * (1 + 1e-9));
          else expect(q / wanted).toBeCloseTo(1, 9);
        }
        expect(limits.tooAlike).toBe(textbook(studies, 0).q < chiSquaredQuantile(0.025, degrees));
      }),
    );
  });

  it('by DerSimonian and Laird gives the same I^2 as Q does', () => {
    fc.assert(
      fc.property(someStudies(2), (rows) => {
        const { iSquared, iSquaredFromQ } = fit(columnsOf(rows), {
          estimator: 'dersimonian-laird',
        }).heterogeneity;
        expect(iSquared).toBeCloseTo(iSquaredFromQ, 10);
      }),
    );
  });
});

describe('a random-effects mean', () => {
  it('of equal studies is that study, with no heterogeneity, by every estimator', () => {
    for (const estimator of ESTIMATORS) {
      const pooled = fit({ estimate: [1.7, 1.7, 1.7, 1.7], variance: [0.4, 0.4, 0.4, 0.4] }, { estimator });
      expect(pooled.estimate).toBe(1.7);
      expect(pooled.between.tauSquared).toBe(0);
      expect(pooled.heterogeneity.q).toBe(0);
      expect(pooled.standardError).toBeCloseTo(Math.sqrt(0.4 / 4), 14);
    }
  });

  it('does not depend on the order of the studies', () => {
    fc.assert(
      fc.property(someStudies(3), fc.constantFrom(...ESTIMATORS), (rows, estimator) => {
        const forward = fit(columnsOf(rows), { estimator });
        const backward = fit(columnsOf([...rows].reverse()), { estimator });
        expect(backward.estimate).toBeCloseTo(forward.estimate, 9);
        expect(backward.standardError / forward.standardError).toBeCloseTo(1, 9);
        expect(backward.between.tauSquared).toBeCloseTo(forward.between.tauSquared, 8);
      }),
    );
  });

  it('moves with the estimates and grows with their unit', () => {
    fc.assert(
      fc.property(
        someStudies(3),
        fc.constantFrom(...ESTIMATORS),
        fc.constantFrom(1e-3, 0.1, 25.4, 1e4),
        fc.integer({ min: -100, max: 100 }),
        (rows, estimator, scale, shift) => {
          const plain = fit(columnsOf(rows), { estimator });
          const moved = fit(
            columnsOf(
              rows.map(({ estimate, variance }) => ({
                estimate: scale * (estimate + shift),
                variance: scale ** 2 * variance,
              })),
            ),
            { estimator },
          );
          expect(moved.estimate / scale - shift).toBeCloseTo(plain.estimate, 8);
          expect(moved.standardError / scale / plain.standardError).toBeCloseTo(1, 8);
          expect(moved.between.tauSquared / scale ** 2).toBeCloseTo(plain.between.tauSquared, 7);
          expect(moved.heterogeneity.iSquared).toBeCloseTo(plain.heterogeneity.iSquared, 7);
        },
      ),
    );
  });

  it('with tau^2 = 0 and the normal interval is the common effect', () => {
    const studies = { estimate: [1, 1.1, 0.95], variance: [0.2, 0.1, 0.4] };
    const random = fit(studies, { interval: 'wald' });
    const common = answerOf(commonEffect(studies));
    expect(random.between.tauSquared).toBe(0);
    expect(random.interval).toEqual(common.interval);
    expect(random.weights).toEqual(common.weights);
  });

  it('has an interval that the floor can only widen, to no less than Wald with t', () => {
    fc.assert(
      fc.property(someStudies(2), (rows) => {
        const studies = columnsOf(rows);
        const floored = fit(studies);
        expect(floored.standardError).toBeGreaterThanOrEqual(
          fit(studies, { interval: 'hartung-knapp' }).standardError * (1 - 1e-12),
        );
        expect(floored.standardError).toBeGreaterThanOrEqual(
          fit(studies, { interval: 'wald' }).standardError * (1 - 1e-12),
        );
      }),
    );
  });

  it('keeps the weight of all others to their digits beside a study ten billion times as precise', () => {
    const studies = { estimate: [0, 3, -2, 5], variance: [1e-10, 1, 2, 4] };
    // Q and the trace as sums over pairs of studies, which no subtraction spoils.
    const weights = studies.variance.map((variance) => 1 / variance);
    const total = weights.reduce((sum, weight) => sum + weight, 0);
    const overPairs = (term: (i: number, j: number) => number): number => {
      let sum = 0;
      for (let i = 0; i < 4; i++)
        for (let j = 0; j < i; j++) sum += (weights[i] ?? NaN) * (weights[j] ?? NaN) * term(i, j);
      return sum / total;
    };
    const q = overPairs((i, j) => ((studies.estimate[i] ?? NaN) - (studies.estimate[j] ?? NaN)) ** 2);
    const expected = (q - 3) / overPairs(() => 2);
    const { tauSquared } = fit(studies, { estimator: 'dersimonian-laird' }).between;
    expect(tauSquared / expected).toBeCloseTo(1, 13);
  });

  it('says when two studies leave one degree of freedom, and gives no prediction then', () => {
    const pooled = fit({ estimate: [1, 2], variance: [0.1, 0.2] });
    expect(pooled.warnings).toContain('one-degree-of-freedom');
    expect(pooled.prediction).toBeNull();
    const wider = fit({ estimate: [1, 2], variance: [0.1, 0.2] }, { predictionDegrees: 'studies-minus-one' });
    expect(wider.prediction?.degreesOfFreedom).toBe(1);
  });

  it('without a floor tells of studies that fit without scatter instead of dividing by 0', () => {
    const pooled = fit({ estimate: [2, 2, 2], variance: [1, 2, 3] }, { interval: 'hartung-knapp' });
    expect(pooled).toMatchObject({ standardError: 0, statistic: null, p: null });
    expect(pooled.interval).toEqual({ lower: 2, upper: 2 });
    expect(pooled.warnings).toEqual(['shorter-than-wald', 'too-alike', 'no-scatter']);
  });

  it('says when one clinic carries the mean, and not when weights are even', () => {
    const uneven = { estimate: [1, 1.2, 0.8, 1.1], variance: [0.01, 0.5, 0.5, 0.5] };
    expect(fit(uneven).warnings).toContain('carried-by-few');
    expect(fit({ ...uneven, variance: [0.5, 0.5, 0.5, 0.5] }).warnings).not.toContain('carried-by-few');
  });

  it('says when the floor was needed', () => {
    expect(fit({ estimate: [1, 1.1, 0.9], variance: [1, 1, 1] }).warnings).toContain('floor-applied');
    expect(fit(CLINICS).warnings).not.toContain('floor-applied');
  });
});

describe('the mean with equal weights', () => {
  it("is Student's one-sample interval, whatever the variances", () => {
    // By hand: mean 3, s = 1, and t = 4.302653 on 2 degrees of freedom.
    const mean = answerOf(equalWeightsMean([2, 3, 4]));
    expect(mean.estimate).toBe(3);
    expect(mean.standardError).toBeCloseTo(1 / Math.sqrt(3), 14);
    expect(mean.interval.upper).toBeCloseTo(3 + 4.302653 / Math.sqrt(3), 5);
  });

  it('claims its guarantee from a level of 0.95 on', () => {
    expect(answerOf(equalWeightsMean([2, 3, 4], { level: 0.95 })).guaranteed).toBe(true);
    expect(answerOf(equalWeightsMean([2, 3, 4], { level: 0.9 })).guaranteed).toBe(false);
  });
});

describe('leaving out one study', () => {
  it('gives one result for each study, equal to the analysis of the others', () => {
    const results = answerOf(leaveOneOut(CLINICS));
    expect(results.map(({ omitted }) => omitted)).toEqual([0, 1, 2, 3, 4]);
    for (const { omitted, estimate, interval, tauSquared, q } of results) {
      const others = (column: readonly number[]): number[] => column.filter((_, i) => i !== omitted);
      const direct = fit({ estimate: others(CLINICS.estimate), variance: others(CLINICS.variance) });
      expect({ estimate, interval, tauSquared, q }).toEqual({
        estimate: direct.estimate,
        interval: direct.interval,
        tauSquared: direct.between.tauSquared,
        q: direct.heterogeneity.q,
      });
    }
  });

  it('needs three studies', () => {
    expect(leaveOneOut({ estimate: [1, 2], variance: [1, 1] })).toMatchObject({ refused: 'too-few-studies' });
  });
});

describe('what cannot be pooled is refused in words', () => {
  it.each([
    ['no study', [], [], 'too-few-studies', '0 studies are given; at least 2'],
    ['one study', [1], [1], 'too-few-studies', '1 study is given; at least 2'],
    ['columns of different length', [1, 2], [1], 'wrong-length', 'variance has 1 entries where 2'],
    ['a variance of 0', [1, 2], [1, 0], 'wrong-value', 'variance[1] is 0'],
    ['a negative variance', [1, 2], [-1, 1], 'wrong-value', 'variance[0] is -1'],
    ['a variance that is not a number', [1, 2], [1, NaN], 'wrong-value', 'variance[1] is NaN'],
    ['an infinite estimate', [1, Infinity], [1, 1], 'wrong-value', 'estimate[1] is Infinity'],
    ['an absurd estimate', [1, 1e200], [1, 1], 'wrong-value', 'estimate[1] is 1e+200'],
  ])('%s', (_, estimate, variance, refused, words) => {
    const result = randomEffects({ estimate, variance });
    expect(result).toMatchObject({ refused });
    expect(isRefusal(result) && result.message).toContain(words);
  });

  it.each([0, 1, 95, NaN])('the level %d', (level) => {
    expect(randomEffects(CLINICS, { level })).toMatchObject({ refused: 'wrong-level' });
    expect(commonEffect(CLINICS, { level })).toMatchObject({ refused: 'wrong-level' });
    expect(equalWeightsMean([1, 2], { level })).toMatchObject({ refused: 'wrong-level' });
  });

  it('a single study has a common effect, itself', () => {
    const pooled = answerOf(commonEffect({ estimate: [1.5], variance: [0.25] }));
    expect(pooled).toMatchObject({ estimate: 1.5, standardError: 0.5, qP: null, weights: [1] });
  });

  it('estimates at the very ends of the range still give finite numbers', () => {
    for (const estimator of ESTIMATORS) {
      for (const variance of [
        [1e-60, 1e60, 1],
        [1e-60, 1e-60, 1e-60],
        [1e60, 1e60, 1e60],
      ]) {
        const pooled = fit({ estimate: [-1e60, 1e60, 3], variance }, { estimator });
        const numbers = JSON.stringify(pooled, (_, value: unknown) =>
          typeof value === 'number' && !Number.isFinite(value) ? 'not finite' : value,
        );
        expect(numbers).not.toContain('not finite');
      }
    }
  });
});

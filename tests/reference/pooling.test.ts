import { describe, expect, it } from 'vitest';
import {
  commonEffect,
  equalWeightsMean,
  leaveOneOut,
  metaRegression,
  randomEffects,
  subgroupMeans,
  type EstimatedCoefficient,
  type MeanInterval,
  type QProfileInterval,
  type TauEstimator,
} from '@longhold/core/pooling';
import { isRefusal, type DesignTerm, type Refusal } from '@longhold/core/numeric';
import { expectAllClose, expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, printed } from './tolerances';

interface Studies {
  readonly name: string;
  readonly estimate: readonly number[];
  readonly variance: readonly number[];
}

interface Mean {
  readonly estimate: number;
  readonly standardError: number;
  readonly lower: number;
  readonly upper: number;
  readonly statistic?: number;
  readonly p?: number;
}

interface Profile extends QProfileInterval {
  readonly iSquaredLower: number;
  readonly iSquaredUpper: number;
  readonly hSquaredLower: number;
  readonly hSquaredUpper: number;
}

interface Case extends Studies {
  readonly level: number;
  readonly common: Mean & { readonly weights: readonly number[] };
  readonly equalWeights: Mean;
  readonly q: number;
  readonly qP: number;
  readonly tauSquaredInterval: Profile;
  readonly analyses: readonly {
    readonly estimator: TauEstimator;
    readonly tauSquared: number;
    readonly logLikelihood: number | null;
    readonly varianceFactor: number;
    readonly iSquared: number;
    readonly hSquared: number;
    readonly weights: readonly number[];
    readonly means: readonly (Mean & {
      readonly interval: MeanInterval;
      readonly predictionTwo: readonly [number, number] | null;
      readonly predictionOne: readonly [number, number];
    })[];
  }[];
}

interface Regression extends Studies {
  readonly terms: readonly DesignTerm[];
  readonly tauSquaredInterval: Profile;
  readonly fits: readonly {
    readonly estimator: TauEstimator;
    readonly interval: MeanInterval;
    readonly tauSquared: number;
    readonly tauSquaredWithout: number;
    readonly rSquared: number | null;
    readonly logLikelihood: number | null;
    readonly coefficients: readonly Mean[];
    readonly omnibus: number;
    readonly omnibusP: number;
    readonly iSquared: number;
    readonly hSquared: number;
    readonly q: number;
    readonly qP: number;
  }[];
}

interface Fixture {
  readonly cases: readonly Case[];
  readonly severalModes: readonly (Studies & {
    readonly estimator: TauEstimator;
    readonly tauSquared: number;
    readonly mean: number;
    readonly logLikelihood: number;
    readonly lowest: number;
  })[];
  readonly leaveOneOut: readonly (Studies & {
    readonly without: readonly (Mean & {
      readonly tauSquared: number;
      readonly iSquared: number;
      readonly q: number;
      readonly qP: number;
    })[];
  })[];
  readonly regressions: readonly Regression[];
  readonly subgroups: readonly (Studies & {
    readonly group: readonly string[];
    readonly tauSquared: number;
    readonly shared: readonly {
      readonly interval: MeanInterval;
      readonly means: readonly Mean[];
      readonly statistic: number;
      readonly p: number;
    }[];
    readonly own: {
      readonly means: readonly (Mean & {
        readonly tauSquared: number;
        readonly q: number;
        readonly qP: number;
      })[];
      readonly statistic: number;
      readonly p: number;
    } | null;
  })[];
}

// Source: metafor's rma.uni(yi, vi, mods, method, test), confint() and plain R at its tau^2; see r/pooling.R. There the
// tau^2 that metafor's iteration stops at is polished by the root of the likelihood's derivative.
const fixture = readFixture<Fixture>('pooling');

function answerOf<Answer>(result: Answer | Refusal): Answer {
  if (isRefusal(result)) throw new Error(result.message);
  return result;
}

function expectMean(
  actual: EstimatedCoefficient,
  expected: Mean,
  what: string,
  tolerance = CLOSED_FORM,
): void {
  // A mean and its limits may lie near zero: then the standard error is the scale.
  const scale = expected.standardError;
  expectClose(actual.estimate, expected.estimate, tolerance, `${what}: estimate`, scale);
  expectClose(actual.standardError, expected.standardError, tolerance, `${what}: standard error`);
  expectClose(actual.interval.lower, expected.lower, tolerance, `${what}: lower limit`, scale);
  expectClose(actual.interval.upper, expected.upper, tolerance, `${what}: upper limit`, scale);
  if (expected.statistic !== undefined)
    expectClose(actual.statistic ?? NaN, expected.statistic, tolerance, `${what}: statistic`, 1);
  // A p in the far tail magnifies the statistic's rounding by the square of the statistic.
  const magnified = tolerance * Math.max(1, (actual.statistic ?? 0) ** 2);
  if (expected.p !== undefined) expectClose(actual.p ?? NaN, expected.p, magnified, `${what}: p`);
}

function expectProfile(actual: QProfileInterval, expected: Profile): void {
  expectClose(actual.lower, expected.lower, CLOSED_FORM, 'lower limit of tau^2');
  expectClose(actual.upper, expected.upper, CLOSED_FORM, 'upper limit of tau^2');
  expect(actual.tooAlike).toBe(expected.tooAlike);
}

describe('pooled means agree with metafor', () => {
  it.each(fixture.cases)('$name: common effect', (studies) => {
    const actual = answerOf(commonEffect(studies, { level: studies.level }));
    expectMean(actual, studies.common, 'common effect');
    expectAllClose(actual.weights, studies.common.weights, CLOSED_FORM, 'weights');
    expectClose(actual.q, studies.q, CLOSED_FORM, 'Q');
    expectClose(actual.qP ?? NaN, studies.qP, CLOSED_FORM * Math.max(1, studies.q), 'p of Q');
  });

  it.each(fixture.cases)('$name: random effects by five estimators and three intervals', (studies) => {
    for (const expected of studies.analyses) {
      for (const mean of expected.means) {
        const what = `${expected.estimator}, ${mean.interval}`;
        const options = { level: studies.level, estimator: expected.estimator, interval: mean.interval };
        const actual = answerOf(randomEffects(studies, options));
        expectClose(actual.between.tauSquared, expected.tauSquared, CLOSED_FORM, `${what}: tau^2`);
        if (expected.logLikelihood !== null) {
          const height = actual.between.logLikelihood ?? NaN;
          expectClose(height, expected.logLikelihood, MAXIMUM_HEIGHT, `${what}: log-likelihood`);
        }
        expectMean(actual, mean, what);
        expectClose(actual.errors.varianceFactor, expected.varianceFactor, CLOSED_FORM, `${what}: factor`);
        expectClose(actual.heterogeneity.iSquared, expected.iSquared, CLOSED_FORM, `${what}: I^2`);
        expectClose(actual.heterogeneity.hSquared, expected.hSquared, CLOSED_FORM, `${what}: H^2`);
        expectAllClose(actual.weights, expected.weights, CLOSED_FORM, `${what}: weights`);
        const scale = mean.standardError;
        const limits = actual.prediction === null ? [] : [actual.prediction.lower, actual.prediction.upper];
        expectAllClose(limits, mean.predictionTwo ?? [], CLOSED_FORM, `${what}: prediction, k - 2`, scale);
        const wider = answerOf(
          randomEffects(studies, { ...options, predictionDegrees: 'studies-minus-one' }),
        );
        expectClose(wider.prediction?.lower ?? NaN, mean.predictionOne[0], CLOSED_FORM, what, scale);
        expectClose(wider.prediction?.upper ?? NaN, mean.predictionOne[1], CLOSED_FORM, what, scale);
      }
    }
  });

  it.each(fixture.cases)("$name: equal weights, by R's t.test", (studies) => {
    const actual = answerOf(equalWeightsMean(studies.estimate, { level: studies.level }));
    expectMean(actual, studies.equalWeights, 'equal weights');
  });

  it.each(fixture.cases)('$name: limits of tau^2, I^2 and H^2', (studies) => {
    const { heterogeneity } = answerOf(randomEffects(studies, { level: studies.level }));
    const expected = studies.tauSquaredInterval;
    expectProfile(heterogeneity.tauSquaredInterval, expected);
    expectClose(heterogeneity.iSquaredInterval.lower, expected.iSquaredLower, CLOSED_FORM, 'I^2, lower');
    expectClose(heterogeneity.iSquaredInterval.upper, expected.iSquaredUpper, CLOSED_FORM, 'I^2, upper');
    expectClose(heterogeneity.hSquaredInterval.lower, expected.hSquaredLower, CLOSED_FORM, 'H^2, lower');
    expectClose(heterogeneity.hSquaredInterval.upper, expected.hSquaredUpper, CLOSED_FORM, 'H^2, upper');
  });
});

describe('the higher of two maxima of the likelihood is taken, as metafor finds it from several starts', () => {
  it.each(fixture.severalModes)(
    '$name',
    ({ estimator, tauSquared, mean, logLikelihood, lowest, ...studies }) => {
      // Metafor looks at 0 by itself, so only the maximum above 0 can be missed from a bad start.
      if (tauSquared > 0) expect(lowest).toBeLessThan(logLikelihood - 1);
      const actual = answerOf(randomEffects(studies, { estimator }));
      expect(actual.between.modes).toBe(2);
      expectWithin(actual.between.tauSquared, tauSquared, MAXIMUM_PLACE, 'tau^2');
      expectClose(actual.estimate, mean, MAXIMUM_PLACE, 'mean');
      expectClose(actual.between.logLikelihood ?? NaN, logLikelihood, MAXIMUM_HEIGHT, 'log-likelihood');
    },
  );
});

describe('leaving out one study agrees with metafor', () => {
  it.each(fixture.leaveOneOut)('$name', (studies) => {
    const results = answerOf(leaveOneOut(studies));
    expect(results).toHaveLength(studies.without.length);
    studies.without.forEach((expected, i) => {
      const actual = results[i];
      if (actual === undefined) throw new Error(`no entry ${i}`);
      expect(actual.omitted).toBe(i);
      expectMean(actual, expected, `without ${i}`);
      expectClose(actual.tauSquared, expected.tauSquared, CLOSED_FORM, 'tau^2');
      expectClose(actual.iSquared, expected.iSquared, CLOSED_FORM, 'I^2');
      expectClose(actual.q, expected.q, CLOSED_FORM, 'Q');
      expectClose(actual.qP, expected.qP, CLOSED_FORM * Math.max(1, expected.q), 'p of Q');
    });
  });
});

describe('meta-regression agrees with metafor', () => {
  it.each(fixture.regressions)('$name', (studies) => {
    for (const expected of studies.fits) {
      const { estimator, interval } = expected;
      const what = `${estimator}, ${interval}`;
      const actual = answerOf(metaRegression(studies, { estimator, interval }));
      const tolerance = CLOSED_FORM;
      expectClose(actual.between.tauSquared, expected.tauSquared, tolerance, `${what}: tau^2`);
      expectClose(
        actual.tauSquaredWithout,
        expected.tauSquaredWithout,
        CLOSED_FORM,
        `${what}: tau^2 without`,
      );
      expect(actual.rSquared === null).toBe(expected.rSquared === null);
      expectClose(actual.rSquared ?? 0, expected.rSquared ?? 0, tolerance, `${what}: R^2`);
      if (expected.logLikelihood !== null) {
        const height = actual.between.logLikelihood ?? NaN;
        expectClose(height, expected.logLikelihood, MAXIMUM_HEIGHT, `${what}: log-likelihood`);
      }
      expected.coefficients.forEach((coefficient, j) => {
        const own = actual.coefficients[j];
        if (own === undefined) throw new Error(`no coefficient ${j}`);
        expectMean(own, coefficient, `${what}: ${own.name}`, tolerance);
      });
      expectClose(actual.omnibus.statistic ?? NaN, expected.omnibus, tolerance, `${what}: omnibus`);
      expectClose(actual.omnibus.p ?? NaN, expected.omnibusP, tolerance * 10, `${what}: omnibus p`);
      const { q, p, iSquared, hSquared } = actual.residualHeterogeneity;
      expectClose(q, expected.q, tolerance, `${what}: Q`);
      expectClose(p, expected.qP, tolerance * Math.max(1, q), `${what}: p of Q`);
      expectClose(iSquared, expected.iSquared, tolerance, `${what}: I^2`);
      expectClose(hSquared, expected.hSquared, tolerance, `${what}: H^2`);
      expectProfile(actual.residualHeterogeneity.tauSquaredInterval, studies.tauSquaredInterval);
    }
  });
});

describe('means of subgroups agree with metafor', () => {
  it.each(fixture.subgroups)('$name: one tau^2 for all groups', (studies) => {
    for (const { interval, means, statistic, p } of studies.shared) {
      const actual = answerOf(subgroupMeans(studies, { interval }));
      means.forEach((expected, j) => {
        const own = actual.groups[j];
        if (own === undefined) throw new Error(`no group ${j}`);
        expectClose(own.between.tauSquared, studies.tauSquared, CLOSED_FORM, 'tau^2');
        expectMean(own, expected, `${interval}: ${own.group}`);
      });
      expectClose(
        actual.betweenGroups.statistic ?? NaN,
        statistic,
        CLOSED_FORM,
        `${interval}: between groups`,
      );
      expectClose(actual.betweenGroups.p ?? NaN, p, CLOSED_FORM, `${interval}: p between groups`);
    }
  });

  it.each(fixture.subgroups)('$name: a tau^2 for each group, refused for a group of one', (studies) => {
    const result = subgroupMeans(studies, { tauSquared: 'separate' });
    if (studies.own === null) {
      expect(result).toMatchObject({ refused: 'too-few-studies' });
      return;
    }
    const actual = answerOf(result);
    studies.own.means.forEach((expected, j) => {
      const own = actual.groups[j];
      if (own === undefined) throw new Error(`no group ${j}`);
      expectMean(own, expected, `${own.group}`);
      expectClose(own.between.tauSquared, expected.tauSquared, CLOSED_FORM, 'tau^2');
      expectClose(own.q, expected.q, CLOSED_FORM, 'Q');
      expectClose(own.qP ?? NaN, expected.qP, CLOSED_FORM * Math.max(1, expected.q), 'p of Q');
    });
    expectClose(actual.betweenGroups.statistic ?? NaN, studies.own.statistic, CLOSED_FORM, 'between groups');
    expectClose(actual.betweenGroups.p ?? NaN, studies.own.p, CLOSED_FORM, 'p between groups');
  });
});

describe('the worked example of the BCG trials, to its printed digits (counts from memory, worked out beside)', () => {
  // Treated cases and non-cases, control cases and non-cases.
  const trials = [
    [4, 119, 11, 128],
    [6, 300, 29, 274],
    [3, 228, 11, 209],
    [62, 13536, 248, 12619],
    [33, 5036, 47, 5761],
    [180, 1361, 372, 1079],
    [8, 2537, 10, 619],
    [505, 87886, 499, 87892],
    [29, 7470, 45, 7232],
    [17, 1699, 65, 1600],
    [186, 50448, 141, 27197],
    [5, 2493, 3, 2338],
    [27, 16886, 29, 17825],
  ] as const;
  const studies = {
    estimate: trials.map(([a, b, c, d]) => Math.log(a / (a + b) / (c / (c + d)))),
    variance: trials.map(([a, b, c, d]) => 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)),
  };

  it('DerSimonian and Laird with Hartung and Knapp', () => {
    const options = { estimator: 'dersimonian-laird', interval: 'hartung-knapp' } as const;
    const actual = answerOf(randomEffects(studies, options));
    expectWithin(actual.heterogeneity.q, 152.233, printed(3), 'Q');
    expectWithin(actual.heterogeneity.iSquared, 0.9212, printed(4), 'I^2');
    expectWithin(actual.heterogeneity.iSquaredFromQ, 0.9212, printed(4), 'I^2 from Q');
    expectWithin(actual.between.tauSquared, 0.30876, printed(5), 'tau^2');
    expectWithin(actual.estimate, -0.71412, printed(5), 'mean');
    expectWithin(actual.errors.varianceFactor, 1.02199, printed(5), 'factor');
    expectWithin(actual.standardError, 0.1807, printed(5), 'standard error');
    expectWithin(actual.interval.lower, -1.10782, printed(5), 'lower limit');
    expectWithin(actual.interval.upper, -0.32041, printed(5), 'upper limit');
  });

  it("DerSimonian and Laird with Wald's standard error, and its prediction interval", () => {
    const options = { estimator: 'dersimonian-laird', interval: 'wald' } as const;
    const actual = answerOf(randomEffects(studies, options));
    expectWithin(actual.standardError, 0.17874, printed(5), 'standard error');
    expectWithin(actual.prediction?.lower ?? NaN, -1.999, printed(3), 'prediction, lower');
    expectWithin(actual.prediction?.upper ?? NaN, 0.571, printed(3), 'prediction, upper');
    expect(actual.prediction?.degreesOfFreedom).toBe(11);
  });
});

import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../../numeric';
import {
  baselineHazard,
  concordance,
  coxResiduals,
  fitCox,
  predictedSurvival,
  predictedSurvivalAt,
  profileLimits,
  proportionalHazardsTest,
  type CoxData,
  type CoxFit,
} from '.';

function answer<Answer>(value: Answer | Refusal): Answer {
  if (isRefusal(value)) throw new Error(value.message);
  return value;
}

function numeric(name: string, values: number[]): CoxData['covariates'][number] {
  return { kind: 'numeric', name, values };
}

// Weeks of remission; Freireich and others 1963.
const REMISSION: CoxData = {
  time: [
    6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35, 1, 1, 2, 2, 3, 4, 4, 5, 5,
    8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23,
  ],
  event: [
    1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1,
    1, 1, 1, 1, 1, 1, 1,
  ],
  covariates: [
    {
      kind: 'factor',
      name: 'arm',
      values: Array.from({ length: 42 }, (_, i) => (i < 21 ? '6-MP' : 'placebo')),
    },
  ],
};

const SIX: CoxData = {
  time: [4, 3, 6, 1, 5, 2],
  event: [1, 1, 0, 1, 0, 1],
  covariates: [numeric('x', [2, 0, 1, 2, 0, 1])],
};

describe('Cox regression of the remission times', () => {
  // From memory, as printed in many books: 1.509 (SE 0.410) with Breslow's ties, 1.572 (SE 0.412) with Efron's.
  it.each([
    ['breslow', 1.509, 0.41],
    ['efron', 1.572, 0.412],
  ] as const)('gives the printed coefficient with the ties of %s', (ties, estimate, standardError) => {
    const [arm] = answer(fitCox(REMISSION, { ties })).coefficients;
    expect(arm?.name).toBe('arm=placebo');
    expect(arm?.estimate).toBeCloseTo(estimate, 3);
    expect(arm?.standardError).toBeCloseTo(standardError, 3);
  });

  it('has a score test that is the log-rank test where no times are tied', () => {
    // Events at 1 (x=2), 2 (x=1), 3 (x=0), 4 (x=2): observed less expected, and its hypergeometric variance, by hand.
    const data = { ...SIX, covariates: [numeric('g', [1, 0, 0, 1, 0, 0])] };
    const difference = 1 - 2 / 6 + (0 - 1 / 5) + (0 - 1 / 4) + (1 - 1 / 3);
    const variance = 2 / 9 + 4 / 25 + 3 / 16 + 2 / 9;
    expect(answer(fitCox(data)).scoreTest.statistic).toBeCloseTo(difference ** 2 / variance, 12);
  });
});

describe('a covariate that separates those with events', () => {
  const separated: CoxData = {
    time: [1, 2, 3, 4, 5, 6],
    event: [1, 1, 1, 0, 0, 0],
    covariates: [numeric('x', [1, 1, 1, 0, 0, 0])],
  };

  it('is flagged as infinite with its name, and the likelihood is the limit it approaches', () => {
    const fit = answer(fitCox(separated));
    expect(fit.coefficients[0]).toMatchObject({
      estimate: null,
      infinite: 'plus',
      standardError: null,
      pValue: null,
    });
    expect(fit.warning).toMatch(/coefficient of x is infinite/);
    // With an infinite ratio only the three with x = 1 are ever at risk: 1/3 * 1/2 * 1.
    expect(fit.logLikelihood).toBeCloseTo(-Math.log(6), 9);
    expect(fit.nullLogLikelihood).toBeCloseTo(-Math.log(6 * 5 * 4), 12);
    expect(fit.likelihoodRatioTest.statistic).toBeCloseTo(2 * Math.log(20), 8);
    expect(fit.waldTest).toBeNull();
  });

  it('has a finite profile limit on the other side', () => {
    const [x] = answer(profileLimits(answer(fitCox(separated))));
    expect(x?.upper).toBeNull();
    const lower = x?.lower ?? NaN;
    const logLikelihood = [3, 2, 1].reduce(
      (sum, left) => sum + lower - Math.log(left * Math.exp(lower) + 3),
      0,
    );
    expect(2 * (-Math.log(6) - logLikelihood)).toBeCloseTo(3.841458820694124, 7);
  });

  it('takes no finite coefficient with it: a level without events leaves the other level as it is without it', () => {
    const group = ['a', 'b', 'c', 'a', 'b', 'c', 'a', 'b', 'c', 'a', 'b', 'c'];
    const time = [3, 12, 4, 1, 5, 9, 8, 11, 2, 7, 6, 10];
    const event = group.map((label) => (label === 'b' ? 0 : 1));
    const fit = answer(fitCox({ time, event, covariates: [{ kind: 'factor', name: 'g', values: group }] }));
    expect(fit.coefficients.map(({ infinite }) => infinite)).toEqual(['minus', null]);
    const kept = group.flatMap((label, i) => (label === 'b' ? [] : [i]));
    const pick = <Value>(values: Value[]): Value[] => values.filter((_, i) => kept.includes(i));
    const without = answer(
      fitCox({
        time: pick(time),
        event: pick(event),
        covariates: [{ kind: 'factor', name: 'g', values: pick(group) }],
      }),
    );
    expect(fit.coefficients[1]?.estimate).toBeCloseTo(without.coefficients[0]?.estimate ?? NaN, 8);
    expect(fit.coefficients[1]?.standardError).toBeCloseTo(without.coefficients[0]?.standardError ?? NaN, 8);
  });

  it('gives no survival curve, no residuals and no test of proportional hazards, and says why', () => {
    const fit = answer(fitCox(separated));
    for (const refused of [
      predictedSurvival(fit, { x: 1 }),
      baselineHazard(fit),
      coxResiduals(fit),
      proportionalHazardsTest(fit),
    ]) {
      expect(refused).toMatchObject({ refused: 'infinite-coefficient' });
      expect('message' in refused && refused.message).toMatch(/coefficient of x is infinite/);
    }
  });
});

describe('data that can not be fitted', () => {
  const cases: readonly [what: string, data: CoxData, code: string, message: RegExp][] = [
    ['no rows', { time: [], event: [], covariates: [numeric('x', [])] }, 'no-rows', /no rows/],
    ['no covariates', { ...SIX, covariates: [] }, 'no-covariates', /at least one/],
    ['all censored', { ...SIX, event: [0, 0, 0, 0, 0, 0] }, 'no-events', /None of the 6 rows/],
    ['a negative time', { ...SIX, time: [4, -3, 6, 1, 5, 2] }, 'wrong-value', /time\[1\] is -3/],
    ['an infinite time', { ...SIX, time: [4, Infinity, 6, 1, 5, 2] }, 'wrong-value', /time\[1\] is Infinity/],
    ['a time that is no number', { ...SIX, time: [4, NaN, 6, 1, 5, 2] }, 'wrong-value', /time\[1\] is NaN/],
    [
      'an event that is not 0 or 1',
      { ...SIX, event: [1, 2, 0, 1, 0, 1] },
      'wrong-value',
      /event\[1\] is 2; it must be 0 or 1/,
    ],
    ['too few events', { ...SIX, event: [1, 1] }, 'wrong-length', /event has 2 entries where 6/],
    ['entry at the time', { ...SIX, entry: [0, 3, 0, 0, 0, 0] }, 'entry-after-time', /entry\[1\] is 3/],
    ['a weight of zero', { ...SIX, weights: [1, 0, 1, 1, 1, 1] }, 'wrong-value', /weights\[1\] is 0/],
    ['a short column', { ...SIX, covariates: [numeric('x', [1])] }, 'wrong-length', /x has 1 entries/],
    [
      'a missing value',
      { ...SIX, covariates: [numeric('x', [1, 2, NaN, 4, 5, 6])] },
      'wrong-value',
      /x\[2\] is NaN/,
    ],
    ['a constant', { ...SIX, covariates: [numeric('x', [2, 2, 2, 2, 2, 2])] }, 'dependent-columns', /x/],
    [
      'a redundant column',
      { ...SIX, covariates: [numeric('x', [2, 0, 1, 2, 0, 1]), numeric('twice', [4, 0, 2, 4, 0, 2])] },
      'dependent-columns',
      /twice follows from .*x/,
    ],
    [
      'a covariate that is constant in each stratum',
      { ...SIX, strata: [1, 1, 1, 2, 2, 2], covariates: [numeric('x', [5, 5, 5, 7, 7, 7])] },
      'no-information',
      /x is the same for all who are at risk/,
    ],
    [
      'an only event after all others have left',
      { ...SIX, event: [0, 0, 1, 0, 0, 0] },
      'no-information',
      /x is the same/,
    ],
    ['one row', { time: [1], event: [1], covariates: [numeric('x', [1])] }, 'dependent-columns', /x/],
    ['one cluster', { ...SIX, clusters: ['a', 'a', 'a', 'a', 'a', 'a'] }, 'few-clusters', /one cluster/],
    ['a short list of strata', { ...SIX, strata: [1, 2] }, 'wrong-length', /strata has 2/],
    ['a stratum that is no number', { ...SIX, strata: [1, 1, NaN, 2, 2, 2] }, 'wrong-value', /strata\[2\]/],
  ];

  it.each(cases)('%s: refused in words', (_, data, code, message) => {
    const refused = fitCox(data);
    expect(refused).toMatchObject({ refused: code });
    expect('message' in refused && refused.message).toMatch(message);
  });

  it('a level outside 0 to 1 is refused', () => {
    expect(fitCox(SIX, { level: 95 })).toMatchObject({ refused: 'wrong-level' });
  });
});

describe('what is built on a fit', () => {
  const fit: CoxFit = answer(fitCox(SIX));

  it('is refused for covariates that are missing, unknown or of the wrong kind', () => {
    expect(predictedSurvival(fit, {})).toMatchObject({ refused: 'missing-covariate' });
    expect(predictedSurvival(fit, { x: 1, y: 2 })).toMatchObject({ refused: 'unknown-covariate' });
    expect(predictedSurvival(fit, { x: 'one' })).toMatchObject({ refused: 'wrong-value' });
    const arms = answer(fitCox(REMISSION));
    expect(predictedSurvival(arms, { arm: 'none' })).toMatchObject({ refused: 'wrong-value' });
  });

  it('says nothing about survival after the last time under observation', () => {
    const [curve] = answer(predictedSurvival(fit, { x: 1 }));
    if (curve === undefined) throw new Error('no curve');
    const [at, last, after] = predictedSurvivalAt(curve, [1, 6, 6.1]);
    expect(at?.survival).toBe(curve.survival[0]);
    expect(last?.survival).toBe(curve.survival[3]);
    expect(after).toEqual({ time: 6.1, survival: null, lower: null, upper: null });
  });

  it('gives the exact binomial limit before the first event where hazards are alike, and certainty at time 0', () => {
    // The median covariate of a symmetric sample has coefficient 0: six followed, none lost.
    const alike = {
      ...SIX,
      time: [2, 2, 2, 2, 2, 2],
      event: [1, 1, 1, 0, 0, 0],
      covariates: [numeric('x', [0, 1, 2, 0, 1, 2])],
    };
    const [curve] = answer(predictedSurvival(answer(fitCox(alike)), { x: 1 }));
    if (curve === undefined) throw new Error('no curve');
    const [start, before] = predictedSurvivalAt(curve, [0, 1]);
    expect(start).toMatchObject({ survival: 1, lower: 1, upper: 1 });
    expect(before?.survival).toBe(1);
    expect(before?.lower).toBeCloseTo(0.025 ** (1 / 6), 10);
  });

  it('is refused where the hazard would be too large for a number', () => {
    expect(predictedSurvival(fit, { x: 1e5 })).toMatchObject({ refused: 'out-of-range' });
  });

  it('has no test of proportional hazards where all events are at one time, or at zero on the log scale', () => {
    const together = answer(fitCox({ ...SIX, time: [3, 3, 6, 3, 5, 3] }));
    expect(proportionalHazardsTest(together)).toMatchObject({ refused: 'one-event-time' });
    const atZero = answer(fitCox({ ...SIX, time: [4, 3, 6, 0, 5, 2] }));
    expect(proportionalHazardsTest(atZero, 'log')).toMatchObject({ refused: 'event-at-zero' });
    expect(isRefusal(proportionalHazardsTest(atZero, 'km'))).toBe(false);
  });

  it('has no profile limits for a robust fit', () => {
    expect(profileLimits(answer(fitCox(SIX, { robust: true })))).toMatchObject({ refused: 'robust-fit' });
  });

  it('has no concordance where every event is the last of its stratum', () => {
    const pairs = answer(fitCox({ time: [1, 1], event: [1, 1], covariates: [numeric('x', [1, 2])] }));
    expect(concordance(pairs)).toMatchObject({ refused: 'no-pairs' });
  });

  it('warns of few clusters, and not once the correction is asked for', () => {
    const clustered = { ...SIX, clusters: [1, 1, 2, 2, 3, 3] };
    expect(answer(fitCox(clustered)).warning).toMatch(/3 clusters/);
    const corrected = answer(fitCox(clustered, { fewClusters: true }));
    expect(corrected.warning).toBeNull();
    const ratio =
      (corrected.coefficients[0]?.standardError ?? NaN) /
      (answer(fitCox(clustered)).coefficients[0]?.standardError ?? NaN);
    expect(ratio).toBeCloseTo(Math.sqrt(3 / 2), 12);
  });
});

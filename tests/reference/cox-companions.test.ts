import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '@longhold/core/numeric';
import {
  baselineHazard,
  concordance,
  coxResiduals,
  predictedSurvival,
  profileLimits,
  proportionalHazardsTest,
  schoenfeldResiduals,
  type CovariateRow,
  type TimeTransform,
} from '@longhold/core/survival';
import { expectAllClose, expectClose } from './closeness';
import { COX_CASES, fitCase, type CoxCase } from './cox-fixture';
import { CLOSED_FORM, NEWTON_PLACE } from './tolerances';

function answer<Answer>(value: Answer | Refusal): Answer {
  if (isRefusal(value)) throw new Error(value.message);
  return value;
}

/** What follows from the coefficients is as right as they are; near zero as right as a residual of 1e-3. */
const FOLLOWS = NEWTON_PLACE;
const NEAR_ZERO = 1e-3;

function curveRow({ covariates, curve }: CoxCase): CovariateRow {
  return Object.fromEntries(covariates.map(({ name, values }) => [name, values[curve.place] ?? NaN]));
}

const TESTED = COX_CASES.filter(({ proportionality }) => proportionality !== null);
const SCALED = COX_CASES.filter(({ scaledSchoenfeld }) => scaledSchoenfeld !== null);
const PROFILED = COX_CASES.filter(({ profile }) => profile !== null);

describe('what is built on a Cox fit agrees with the survival package', () => {
  // survival::concordance(fit)
  it.each(COX_CASES)('$name: concordance and its standard error', (example) => {
    const { estimate, standardError, ...counts } = answer(concordance(fitCase(example)));
    expectClose(estimate, example.concordance.estimate, CLOSED_FORM, 'concordance');
    expectClose(standardError, example.concordance.standardError, CLOSED_FORM, 'standard error');
    expectAllClose(
      [counts.concordant, counts.discordant, counts.tiedPredictions, counts.tiedTimes, counts.tiedBoth],
      example.concordance.counts,
      CLOSED_FORM,
      'pairs',
      1,
    );
  });

  // survival::basehaz(fit, centered = FALSE), which also lists times of censoring.
  it.each(COX_CASES)('$name: baseline cumulative hazard', (example) => {
    const strata = answer(baselineHazard(fitCase(example)));
    example.baseline.time.forEach((time, i) => {
      const stratum = strata.find((one) => one.stratum === (example.baseline.strata?.[i] ?? null));
      let last = 0;
      stratum?.time.forEach(
        (event, step) => (last = event <= time ? (stratum.cumulativeHazard[step] ?? NaN) : last),
      );
      expectClose(last, example.baseline.hazard[i] ?? NaN, FOLLOWS, `hazard at ${time}`);
    });
  });

  // survival::survfit(fit, newdata = one row), conf.type log, log-log and plain.
  it.each(COX_CASES)('$name: predicted survival and its intervals', (example) => {
    const fit = fitCase(example);
    const scales = { log: 'log', logLog: 'log-log', plain: 'plain' } as const;
    for (const scale of ['log', 'logLog', 'plain'] as const) {
      const curves = answer(predictedSurvival(fit, curveRow(example), { scale: scales[scale] }));
      const curve = curves.find(({ stratum }) => stratum === example.curve.stratum);
      expect([...(curve?.time ?? [])]).toEqual(example.curve.time);
      const { survival, hazard, hazardError, limits } = example.curve;
      expectAllClose([...(curve?.survival ?? [])], survival, FOLLOWS, 'survival', NEAR_ZERO);
      expectAllClose([...(curve?.cumulativeHazard ?? [])], hazard, FOLLOWS, 'hazard');
      expectAllClose([...(curve?.standardError ?? [])], hazardError, FOLLOWS, 'standard error');
      for (const side of ['lower', 'upper'] as const) {
        const expected = limits[scale][side].map((value) => value ?? NaN);
        expectAllClose([...(curve?.[side] ?? [])], expected, FOLLOWS, `${scale} ${side}`, NEAR_ZERO);
      }
    }
  });

  // residuals(fit, "martingale" / "deviance" / "score" / "schoenfeld"), the first hundred rows.
  it.each(COX_CASES)('$name: residuals', (example) => {
    const fit = fitCase(example);
    const { martingale, deviance, score } = answer(coxResiduals(fit));
    const first = (values: Float64Array, like: readonly number[]): number[] => [
      ...values.subarray(0, like.length),
    ];
    expectAllClose(first(martingale, example.martingale), example.martingale, FOLLOWS, 'martingale', 1);
    expectAllClose(first(deviance, example.deviance), example.deviance, FOLLOWS, 'deviance', 1);
    const largest = Math.max(...example.scoreResiduals.map(Math.abs));
    expectAllClose(first(score, example.scoreResiduals), example.scoreResiduals, FOLLOWS, 'score', largest);
    const { residuals } = answer(schoenfeldResiduals(fit));
    const widest = Math.max(...example.schoenfeld.map(Math.abs));
    expectAllClose(first(residuals, example.schoenfeld), example.schoenfeld, FOLLOWS, 'Schoenfeld', widest);
  });

  // survival::cox.zph(fit, transform); the last row of its table is the global test.
  it.each(TESTED)('$name: tests of proportional hazards by term and global, four transforms', (example) => {
    const fit = fitCase(example);
    for (const transform of ['identity', 'km', 'rank', 'log'] satisfies TimeTransform[]) {
      const expected = example.proportionality?.[transform];
      const { terms, global } = answer(proportionalHazardsTest(fit, transform));
      const tests = [...terms, global];
      expect(tests.map(({ df }) => df)).toEqual(expected?.df);
      expectAllClose(
        tests.map(({ statistic }) => statistic ?? NaN),
        expected?.statistic ?? [],
        FOLLOWS,
        transform,
        NEAR_ZERO,
      );
      expectAllClose(
        tests.map(({ pValue }) => pValue ?? NaN),
        expected?.p ?? [],
        FOLLOWS,
        `${transform} p`,
      );
    }
  });

  // residuals(fit, "scaledsch")
  it.each(SCALED)('$name: scaled Schoenfeld residuals', (example) => {
    const expected = example.scaledSchoenfeld ?? [];
    const { scaled } = answer(schoenfeldResiduals(fitCase(example)));
    const largest = Math.max(...expected.map(Math.abs));
    expectAllClose([...scaled.subarray(0, expected.length)], expected, FOLLOWS, 'scaled residuals', largest);
  });

  // Twice the fall of coxph's log-likelihood with the first column as an offset, brought to qchisq(0.95, 1) by uniroot.
  it.each(PROFILED)('$name: profile limits of the first coefficient', (example) => {
    const limits = answer(profileLimits(fitCase(example, { robust: false })))[0];
    const [lower = NaN, upper = NaN] = example.profile ?? [];
    expectClose(limits?.lower ?? NaN, lower, NEWTON_PLACE, 'lower', upper - lower);
    expectClose(limits?.upper ?? NaN, upper, NEWTON_PLACE, 'upper', upper - lower);
  });
});

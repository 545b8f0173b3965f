import { describe, expect, it } from 'vitest';
import {
  answerOutcome,
  GROUPINGS,
  type Grouping,
  type GroupRatio,
  type GroupRegression,
  type OutcomeAnswer,
} from '@longhold/core/answers';
import { readImport } from '@longhold/core/intake';
import { normalTwoSidedP, refuse, twoSidedNormal } from '@longhold/core/numeric';
import { answered } from './answered';
import { expectClose, expectWithin } from './closeness';
import { readFixture } from './fixture';
import { mainJobFiles, mainJobFixture } from './main-job-fixture';
import { CLOSED_FORM, MAXIMUM_PLACE, NEWTON_PLACE, TURNBULL_MASS } from './tolerances';

/*
 * Outside: survival (survreg, coxph), cmprsk, p.adjust, t.test and prop.test in R, and the formulas of docs/methods.md
 * written out there (r/answers.R), on the committed invented study of the main job.
 */
interface Ratio {
  readonly label: string;
  readonly estimate: number;
  readonly lower: number;
  readonly upper: number;
  readonly p: number;
}
interface Regression {
  readonly timeRatios: Ratio[];
  readonly hazardRatios: Ratio[] | null;
  readonly p: number;
}
interface GrayOfR {
  readonly chiSquared: number;
  readonly df: number;
  readonly p: number;
}
interface AnswerOfR {
  readonly measure: string;
  readonly tests: {
    grouping: Grouping;
    statistic: number | null;
    p: number | null;
    adjustedP: number | null;
  }[];
  readonly ratios: {
    grouping: Grouping;
    reference: string;
    weibull: Regression;
    logLogistic: Regression;
    cox: Ratio[];
  }[];
  /** Null where cmprsk gives no statistic. */
  readonly gray: { lost: GrayOfR; treatedAgain: GrayOfR | null };
  readonly restrictedMean: { until: number; estimate: number; lower: number; upper: number };
  readonly bounds: { years: number[]; estimate: number[]; worst: number[]; best: number[] };
  readonly tip: { year: number; survival: number[]; away: number; neverSeen: number };
  readonly shareTip: { year: number; seen: number; unseen: number; overall: number[]; at: number | null };
  readonly baseline: { name: string; seen: number; unseen: number; lower: number; upper: number }[];
  readonly changes: { from: number; n: number; mean: number; lower?: number; upper?: number }[];
}
const fixture = readFixture<{ answers: AnswerOfR[] }>('answers');

const reading = readImport(mainJobFiles());
if (!reading.ok) throw new Error('the files of the main job have faults');
const { study } = reading;

const answers = new Map<string, OutcomeAnswer>();
function answerOf(measure: string, groupBy: Grouping): OutcomeAnswer {
  const key = `${measure} ${groupBy}`;
  const answer =
    answers.get(key) ??
    answerOutcome(study, {
      measure,
      groupBy,
      threshold: { kind: 'share', share: mainJobFixture.share },
      level: mainJobFixture.level,
      reference: 'untreated-series',
      filmFactor: 1,
      resamples: 50,
    });
  answers.set(key, answer);
  return answer;
}

/** Losses and gains come out of a fitted growth curve here and there, and the curve is known to this. */
const FROM_CURVE = MAXIMUM_PLACE;

type FoundRatio = Pick<GroupRatio, 'label' | 'estimate' | 'limits' | 'p' | 'carriedSd'>;

/** Limits and p with what growth curve and method error leave open taken out again, which R's regressions do not know. */
function bySampling({ estimate, limits, p, carriedSd }: FoundRatio): Pick<FoundRatio, 'limits' | 'p'> {
  if (carriedSd === null) return { limits, p };
  const quantile = twoSidedNormal(mainJobFixture.level);
  const whole = (Math.log(limits.upper) - Math.log(limits.lower)) / (2 * quantile);
  const own = Math.sqrt(whole ** 2 - carriedSd ** 2);
  const reach = Math.exp(quantile * own);
  return {
    limits: { lower: estimate / reach, upper: estimate * reach },
    p: normalTwoSidedP(Math.log(estimate) / own),
  };
}

/** @param tested whose p stands beside them: of hazard ratios that of the time ratios, which test the same */
function expectRatios(
  found: readonly FoundRatio[] | null,
  expected: readonly Ratio[],
  what: string,
  tested = found,
): void {
  expect(found?.map(({ label }) => label)).toEqual(expected.map(({ label }) => label));
  expected.forEach(({ label, estimate, lower, upper, p }, i) => {
    const one = found?.[i];
    expectClose(one?.estimate ?? NaN, estimate, MAXIMUM_PLACE, `${what} of ${label}`);
    const sampling = one === undefined ? null : bySampling(one);
    expectClose(sampling?.limits.lower ?? NaN, lower, MAXIMUM_PLACE, `${what} of ${label}, lower limit`);
    expectClose(sampling?.limits.upper ?? NaN, upper, MAXIMUM_PLACE, `${what} of ${label}, upper limit`);
    const beside = tested?.[i];
    const tests = beside === undefined ? null : bySampling(beside);
    expectClose(tests?.p ?? NaN, p, MAXIMUM_PLACE, `${what} of ${label}, p`);
  });
}

const NOTHING = refuse('nothing', 'There is no such part of the answer.');

describe.each(fixture.answers)(
  'the answer beyond curves and shares, worked out in R: $measure',
  (expected) => {
    const answer = answerOf(expected.measure, 'protocol');

    it("every grouping's test, and Holm's correction over all of them", () => {
      const tests = answer.groups?.tests ?? [];
      expect(tests.map(({ grouping }) => grouping)).toEqual(GROUPINGS);
      expected.tests.forEach(({ grouping, statistic, p, adjustedP }, i) => {
        const found = tests[i];
        expect(found?.test === null, grouping).toBe(statistic === null);
        if (statistic === null || p === null || adjustedP === null) return;
        expectClose(found?.test?.statistic ?? NaN, statistic, FROM_CURVE, `${grouping}, statistic`, 1);
        expectClose(found?.test?.p ?? NaN, p, FROM_CURVE, `${grouping}, p`);
        expectClose(found?.adjustedP ?? NaN, adjustedP, FROM_CURVE, `${grouping}, p after Holm`);
      });
    });

    it.each(expected.ratios)('time and hazard ratios by $grouping', (one) => {
      const { groups } = answerOf(expected.measure, one.grouping);
      if (groups === null) throw new Error('no groups');
      expect(groups.reference).toBe(one.reference);
      const [weibull, logLogistic] = groups.regressions.map((regression) =>
        answered<GroupRegression>(regression),
      );
      expectRatios(weibull?.timeRatios ?? null, one.weibull.timeRatios, 'Weibull time ratio');
      const { timeRatios = null, hazardRatios = null } = weibull ?? {};
      expectRatios(hazardRatios, one.weibull.hazardRatios ?? [], 'Weibull hazard ratio', timeRatios);
      expectRatios(logLogistic?.timeRatios ?? null, one.logLogistic.timeRatios, 'log-logistic time ratio');
      expectClose(weibull?.p ?? NaN, one.weibull.p, MAXIMUM_PLACE, 'Weibull likelihood ratio');
      expectClose(logLogistic?.p ?? NaN, one.logLogistic.p, MAXIMUM_PLACE, 'log-logistic likelihood ratio');
      expectRatios(answered<readonly FoundRatio[]>(groups.cox), one.cox, "Cox's hazard ratio");
    });

    it("Gray's tests over the protocols", () => {
      for (const event of ['lost', 'treatedAgain'] as const) {
        const ofR = expected.gray[event];
        if (ofR === null) continue;
        const found = answered<GrayOfR>(answer.competing?.groupTests[event] ?? NOTHING);
        const { chiSquared, df, p } = ofR;
        expectClose(found.chiSquared, chiSquared, CLOSED_FORM, `${event}, statistic`);
        expect(found.df).toBe(df);
        expectClose(found.p, p, CLOSED_FORM, `${event}, p`);
      }
    });

    it('the restricted mean, and how far the gaps of the curve can move it', () => {
      const found = answer.survival?.turnbull.restrictedMean;
      const { until, estimate, lower, upper } = expected.restrictedMean;
      expect(found?.until).toBe(until);
      expectWithin(found?.estimate ?? NaN, estimate, 10 * TURNBULL_MASS, 'mean');
      expectWithin(found?.undefinedWithin.lower ?? NaN, lower, 10 * TURNBULL_MASS, 'least');
      expectWithin(found?.undefinedWithin.upper ?? NaN, upper, 10 * TURNBULL_MASS, 'most');
    });

    it('the worst and best case for those who stayed away, at every quarter of a year', () => {
      const { absence } = answer;
      expect(absence.stayedAway).toBe(expected.tip.away);
      expect(absence.neverSeen).toBe(expected.tip.neverSeen);
      expect(absence.bounds.map(({ years }) => years)).toEqual(expected.bounds.years);
      absence.bounds.forEach(({ years, estimate, worst, best }, i) => {
        expectWithin(estimate, expected.bounds.estimate[i] ?? NaN, TURNBULL_MASS, `estimate, ${years} years`);
        expectWithin(worst, expected.bounds.worst[i] ?? NaN, TURNBULL_MASS, `worst, ${years} years`);
        expectWithin(best, expected.bounds.best[i] ?? NaN, TURNBULL_MASS, `best, ${years} years`);
      });
    });

    it('survival and retained share by what the missing are taken to have lost or kept', () => {
      const { survivalTip, shareTip } = answer.absence;
      expect(survivalTip?.year).toBe(expected.tip.year);
      expected.tip.survival.forEach((survival, i) => {
        expectWithin(survivalTip?.table[i]?.survival ?? NaN, survival, TURNBULL_MASS, `${i} fifths lost`);
      });
      const { year, seen, unseen, overall, at } = expected.shareTip;
      expect(shareTip).toMatchObject({ year, seen, unseen });
      overall.forEach((share, i) => {
        expectClose(shareTip?.table[i]?.overall ?? NaN, share, FROM_CURVE, `${i} fifths kept`);
      });
      if (at === null) expect(shareTip?.at).toBeNull();
      else expectClose(shareTip?.at ?? NaN, at, FROM_CURVE, 'tipping point');
    });

    it("seen against unseen: Welch's intervals of means, Newcombe's of shares", () => {
      const rows = answer.absence.baseline;
      expect(rows.map(({ name }) => name)).toEqual(expected.baseline.map(({ name }) => name));
      expected.baseline.forEach(({ name, seen, unseen, lower, upper }, i) => {
        const row = rows[i];
        expectClose(row?.seen.value ?? NaN, seen, FROM_CURVE, `${name}, seen`);
        expectClose(row?.unseen.value ?? NaN, unseen, FROM_CURVE, `${name}, unseen`);
        expectClose(row?.limits.lower ?? NaN, lower, FROM_CURVE, `${name}, lower limit`, 0.01);
        expectClose(row?.limits.upper ?? NaN, upper, FROM_CURVE, `${name}, upper limit`, 0.01);
      });
    });

    it('the change a year between windows', () => {
      expect(answer.changes.map(({ from, n }) => [from, n])).toEqual(
        expected.changes.map(({ from, n }) => [from, n]),
      );
      expected.changes.forEach(({ from, mean, lower, upper }, i) => {
        const found = answer.changes[i];
        expectClose(found?.mean ?? NaN, mean, FROM_CURVE, `from year ${from}`, 0.1);
        if (lower === undefined || upper === undefined) return;
        expectClose(found?.limits?.lower ?? NaN, lower, NEWTON_PLACE, `from year ${from}, lower limit`, 0.1);
        expectClose(found?.limits?.upper ?? NaN, upper, NEWTON_PLACE, `from year ${from}, upper limit`, 0.1);
      });
    });
  },
);

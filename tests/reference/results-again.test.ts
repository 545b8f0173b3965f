import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { answerOutcome, prepareQuestion, sensitivity } from '@longhold/core/answers';
import { generateDemo } from '@longhold/demo';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { besideOf, inventedPool } from '../../apps/desktop/host/report/pool/pool.fixture';
import { buildReport, resultsSchema, studyFingerprint, type Results } from '../../apps/desktop/host/report';
import { expectAllClose, expectClose } from './closeness';
import { referencePath } from './fixture';
import { rIsThere } from './r-there';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, VARIANCE_COMPONENT } from './tolerances';

/** Turnbull's curve and what rests on it, of values with twelve digits. Relative. */
const CURVE = 1e-8;
/** Maxima of survreg, which stops by the height of the likelihood. Relative. */
const REGRESSION_PLACE = 1e-5;
/** Differences of sizes of some 100 mm, given to twelve digits. Relative, below 1 mm absolute. */
const DIFFERENCE_OF_SIZES = 1e-8;
/** Standard errors at lme4's maximum, whose variance components are known to five digits or so. Relative. */
const PRECISION = 1e-4;
/** Satterthwaite's degrees of freedom hang on second derivatives of the likelihood by differences. Relative. */
const DEGREES_OF_FREEDOM = 1e-2;

interface Interval {
  readonly lower: number;
  readonly upper: number;
}
interface SplitAgain {
  readonly n: number;
  readonly parts: (Interval & { mean: number })[];
}
interface CorrectionAgain extends SplitAgain {
  /** Largest difference, over patients, between the whole and the sum of its parts. */
  readonly sums: number;
  readonly skeletal: number;
}

/** A mean over centres made again from the centres' rows. */
interface PooledAgain {
  /** Which of the pool's quantities. */
  readonly place: number;
  readonly estimate: number;
  readonly limits: number[];
  readonly prediction: number[] | null;
  readonly tauSquared: number;
  readonly tauSquaredLimits: number[];
  readonly iSquared: number;
  readonly q: number;
  readonly qP: number;
  readonly weights: number[];
  readonly without: { estimate: number; iSquared: number; limits: number[] }[];
}

/** What R works out of a results.json; it sees nothing else. */
interface Again {
  readonly retained: { n: number; share: number | null }[];
  readonly years: number[];
  readonly conventional: number[];
  readonly intervalCensored: number[];
  readonly lost: number[];
  readonly treatedAgain: number[];
  readonly reference: string;
  readonly others: string[];
  readonly hazardRatios: number[];
  readonly tests: { grouping: string; statistic: number; p: number; adjusted: number }[];
  readonly regressions: {
    ratios: number[];
    lower: number[];
    upper: number[];
    hazards: number[];
    p: number;
    aic: number;
  }[];
  readonly clock: [lasting: number, forward: number];
  readonly fading: [lasting: number, fading: number];
  readonly lastingShare: number;
  readonly lasting: Interval & { standardError: number; df: number };
  readonly gainAtEnd: { standardError: number; withLasting: number };
  readonly gains: { gain: number[]; velocity: number[] };
  readonly followed: { patients: number; stayedAway: number; neverSeen: number };
  readonly bounds: { years: number[]; estimate: number[]; worst: number[]; best: number[] };
  readonly survivalTip: number[];
  readonly shareTip: number[];
  readonly baseline: Record<string, Interval & { difference: number }>;
  readonly pooled: PooledAgain[];
  readonly gaveWay: Record<string, { overjet: CorrectionAgain; molar: CorrectionAgain; chin: SplitAgain }>;
}

describe.skipIf(!rIsThere(['jsonlite', 'survival', 'lme4', 'lmerTest', 'cmprsk', 'metafor']))(
  'a results.json in the hands of R',
  () => {
    let folder = '';
    let results: Results;
    let again: Again;
    beforeAll(() => {
      folder = mkdtempSync(join(tmpdir(), 'longhold-results-'));
      const demo = generateDemo({ seed: 21, patients: 150 });
      const { json } = buildReport({
        answer: answerOutcome(demo.study, { asOf: demo.today, resamples: 50 }),
        sensitivity: sensitivity(prepareQuestion(demo.study, { asOf: demo.today })),
        version: '0.0.0',
        fingerprint: studyFingerprint(demo.study),
        generatedFor: { storeName: 'invented', demo: true },
        pool: besideOf(inventedPool({ smallestCell: 5 }), { kind: 'coordinator' }),
      });
      results = resultsSchema.parse(JSON.parse(json));
      const file = join(folder, 'results.json');
      writeFileSync(file, json);
      const run = spawnSync('Rscript', ['results-again.R', file], {
        cwd: referencePath('r'),
        encoding: 'utf8',
      });
      expect(run.status, run.stderr).toBe(0);
      again = JSON.parse(run.stdout) as Again;
    }, 180_000);
    afterAll(() => rmSync(folder, { recursive: true, force: true }));

    it('gives the retained share of every year again', () => {
      results.retained.forEach(({ n, estimate }, i) => {
        expect(again.retained[i]?.n).toBe(n);
        if (estimate !== null)
          expectClose(again.retained[i]?.share ?? NaN, estimate, CLOSED_FORM, `year ${i + 1}`);
      });
    });

    it('gives the conventional curve and the interval-censored one again', () => {
      const at = (
        rows: readonly { year: number; estimate: number | null; undefinedWithin: unknown }[],
        year: number,
      ) => rows.find((row) => row.year === year);
      again.years.forEach((year, i) => {
        const conventional = at(results.survival?.kaplanMeier.atYears ?? [], year);
        expectClose(again.conventional[i] ?? NaN, conventional?.estimate ?? NaN, CLOSED_FORM);
        const own = at(results.survival?.intervalCensored.atYears ?? [], year);
        expectClose(again.intervalCensored[i] ?? NaN, own?.estimate ?? NaN, CURVE, `year ${year}`);
      });
    });

    it('gives the two cumulative incidences again', () => {
      again.years.forEach((year, i) => {
        const own = results.competing?.atYears.find((row) => row.year === year);
        expectClose(
          again.lost[i] ?? NaN,
          own?.lost.probability ?? NaN,
          CLOSED_FORM,
          `lost, year ${year}`,
          1e-6,
        );
        expectClose(
          again.treatedAgain[i] ?? NaN,
          own?.treatedAgain.probability ?? NaN,
          CLOSED_FORM,
          `again, year ${year}`,
          1e-6,
        );
      });
    });

    it("gives Cox's ratios between the groups again", () => {
      expect(results.groups?.reference).toBe(again.reference);
      const { cox } = results.groups ?? {};
      if (cox === undefined || 'refused' in cox) throw new Error('no ratios');
      expect(cox.map(({ label }) => label)).toEqual(again.others);
      expectAllClose(
        again.hazardRatios,
        cox.map(({ estimate }) => estimate),
        MAXIMUM_PLACE,
        'Cox',
      );
    });

    it('gives the tests of every grouping again, with the correction for their number', () => {
      const own = (results.groups?.tests ?? []).flatMap(({ grouping, test }) =>
        test === null ? [] : [{ grouping, ...test.asKnown }],
      );
      expect(own.map(({ grouping }) => grouping)).toEqual(again.tests.map(({ grouping }) => grouping));
      expect(own.length).toBeGreaterThan(3);
      own.forEach(({ grouping, statistic, p, adjustedP }, i) => {
        const theirs = again.tests[i];
        expectClose(theirs?.statistic ?? NaN, statistic, CURVE, `${grouping}, statistic`);
        expectClose(theirs?.p ?? NaN, p, CURVE, `${grouping}, p`);
        expectClose(theirs?.adjusted ?? NaN, adjustedP, CURVE, `${grouping}, adjusted`);
      });
    });

    it('gives the two regressions of the intervals again', () => {
      const { regressions } = results.groups ?? {};
      expect(regressions).toHaveLength(2);
      regressions?.forEach((own, i) => {
        const theirs = again.regressions[i];
        if ('refused' in own || theirs === undefined) throw new Error('no regression');
        const { distribution, timeRatios, hazardRatios } = own;
        expect(timeRatios.map(({ label }) => label)).toEqual(again.others);
        const columns: [string, number[], number[]][] = [
          ['ratio', theirs.ratios, timeRatios.map(({ estimate }) => estimate)],
          ['lower', theirs.lower, timeRatios.map(({ limits }) => limits.lower)],
          ['upper', theirs.upper, timeRatios.map(({ limits }) => limits.upper)],
        ];
        for (const [name, made, kept] of columns)
          expectAllClose(made, kept, REGRESSION_PLACE, `${distribution}, ${name}`);
        if (distribution === 'weibull')
          expectAllClose(
            theirs.hazards,
            (hazardRatios ?? []).map(({ estimate }) => estimate),
            REGRESSION_PLACE,
            'hazards',
          );
        expectClose(theirs.p, own.p ?? NaN, MAXIMUM_PLACE, `${distribution}, p`);
        expectClose(theirs.aic, own.aic, MAXIMUM_HEIGHT, `${distribution}, aic`);
      });
    });

    it('gives lasting gain, years brought forward, the fading part and the lasting share again', () => {
      const { growthClock, fadingPart } = results.separation;
      if ('refused' in growthClock || 'refused' in fadingPart) throw new Error('refused');
      const own = [growthClock.lasting.estimate, growthClock.passing.estimate];
      expectAllClose(again.clock, own, 1e-5, 'clock');
      expectAllClose(
        again.fading,
        [fadingPart.lasting.estimate, fadingPart.passing.estimate],
        1e-4,
        'fading',
      );
      expectClose(again.lastingShare, growthClock.share.estimate ?? NaN, 1e-5, 'lasting share');
    });

    it('gives every gain and its growth velocity again from values and curve', () => {
      expectAllClose(again.gains.gain, results.gains.gain, DIFFERENCE_OF_SIZES, 'gain', 1);
      expectAllClose(again.gains.velocity, results.gains.velocity, DIFFERENCE_OF_SIZES, 'velocity', 1);
    });

    it("gives the interval of the lasting gain again, with the curve's uncertainty in it", () => {
      const { growthClock } = results.separation;
      if ('refused' in growthClock) throw new Error('refused');
      const { standardError, df, limits } = growthClock.lasting;
      expectClose(again.lasting.standardError, standardError, PRECISION, 'standard error');
      expectClose(again.lasting.df, df ?? NaN, DEGREES_OF_FREEDOM, 'degrees of freedom');
      expectClose(again.lasting.lower, limits?.lower ?? NaN, PRECISION, 'lower', 1e-4);
      expectClose(again.lasting.upper, limits?.upper ?? NaN, PRECISION, 'upper', 1e-4);
      const { gainAtEnd } = growthClock.share;
      expectClose(again.gainAtEnd.standardError, gainAtEnd.standardError, PRECISION, 'gain at the end');
      expectClose(again.gainAtEnd.withLasting, gainAtEnd.withLasting, PRECISION, 'covariance with it', 1e-5);
    });

    it('gives the bounds for those who stayed away again, and both tipping points', () => {
      const { patients, stayedAway, neverSeen, bounds, survivalTip, shareTip } = results.absence;
      expect(again.followed).toEqual({ patients, stayedAway, neverSeen });
      expect(again.bounds.years).toEqual(bounds.map(({ years }) => years));
      for (const which of ['estimate', 'worst', 'best'] as const)
        expectAllClose(
          again.bounds[which],
          bounds.map((row) => row[which]),
          CURVE,
          which,
          1e-9,
        );
      expectAllClose(
        again.survivalTip,
        survivalTip?.table.map(({ survival }) => survival) ?? [],
        CURVE,
        'tip',
      );
      expectAllClose(
        again.shareTip,
        shareTip?.table.map(({ overall }) => overall) ?? [],
        CLOSED_FORM,
        'share',
      );
    });

    it('gives the comparison of seen and unseen again: Welch for means, Newcombe for shares', () => {
      const { baseline } = results.absence;
      expect(baseline.map(({ name }) => name)).toEqual(Object.keys(again.baseline));
      for (const { name, difference, limits } of baseline) {
        const theirs = again.baseline[name];
        expectClose(theirs?.difference ?? NaN, difference, CLOSED_FORM, name, 1e-9);
        expectClose(theirs?.lower ?? NaN, limits.lower, CLOSED_FORM, `${name}, lower`, 1e-9);
        expectClose(theirs?.upper ?? NaN, limits.upper, CLOSED_FORM, `${name}, upper`, 1e-9);
      }
    });

    it('gives every mean over centres of the pool again where each centre’s row is shown, and the mean without each', () => {
      const quantities = results.pool.answer?.measure.quantities ?? [];
      const whole = quantities.filter(({ rows, rowsWithheld }) => rows.length > 0 && rowsWithheld === 0);
      expect(again.pooled).toHaveLength(whole.length);
      // Shares, a curve on its own scale, and both parts of the gain are among them.
      expect(new Set(whole.map(({ kind }) => kind)).size).toBe(5);
      for (const theirs of again.pooled) {
        const { kind, year, twoStage: mean, rows, withoutOne } = quantities[theirs.place] ?? {};
        if (mean == null || 'refused' in mean || rows === undefined) throw new Error('no mean');
        const name = `${kind} ${year ?? ''}`;
        const ends = (limits: Interval | null | undefined): number[] =>
          limits == null ? [] : [limits.lower, limits.upper];
        expectClose(theirs.estimate, mean.estimate, MAXIMUM_PLACE, name);
        expectAllClose(theirs.limits, ends(mean.limits), MAXIMUM_PLACE, `${name}, limits`);
        expectAllClose(theirs.prediction ?? [], ends(mean.prediction), MAXIMUM_PLACE, `${name}, prediction`);
        expectClose(theirs.tauSquared, mean.tauSquared ?? NaN, VARIANCE_COMPONENT, `${name}, tau²`, 1e-6);
        expectAllClose(
          theirs.tauSquaredLimits,
          ends(mean.tauSquaredLimits),
          VARIANCE_COMPONENT,
          `${name}, limits of tau²`,
          1e-6,
        );
        expectClose(theirs.iSquared, mean.iSquared ?? NaN, VARIANCE_COMPONENT, `${name}, I²`, 1e-5);
        expectClose(theirs.q, mean.q ?? NaN, CLOSED_FORM, `${name}, Q`);
        expectClose(theirs.qP, mean.qP ?? NaN, CLOSED_FORM, `${name}, p`);
        const weights = rows.map(({ weight }) => weight ?? NaN);
        expectAllClose(theirs.weights, weights, MAXIMUM_PLACE, `${name}, weights`);
        expect(theirs.without).toHaveLength(withoutOne?.length ?? NaN);
        theirs.without.forEach((rest, i) => {
          const own = withoutOne?.[i];
          expectClose(rest.estimate, own?.estimate ?? NaN, MAXIMUM_PLACE, `${name}, without ${i}`);
          expectAllClose(rest.limits, ends(own?.limits), MAXIMUM_PLACE, `${name}, limits without ${i}`);
          expectClose(
            rest.iSquared,
            own?.iSquared ?? NaN,
            VARIANCE_COMPONENT,
            `${name}, I² without ${i}`,
            1e-5,
          );
        });
      }
    });

    it('gives the parts of what was corrected and of what gave way again, and they sum to the whole', () => {
      for (const split of ['overjet', 'molar', 'chin'] as const) {
        expect(results.gaveWay[split]).toHaveLength(3);
        for (const { span, n, whole, parts, skeletalShare } of results.gaveWay[split]) {
          const theirs = again.gaveWay[span]?.[split];
          expect(theirs?.n).toBe(n);
          expect(n).toBeGreaterThan(10);
          [whole, ...parts].forEach((part, i) => {
            const own = theirs?.parts[i];
            const name = `${split}, ${span}, ${part?.name}`;
            expectClose(own?.mean ?? NaN, part?.mean ?? NaN, CLOSED_FORM, name, 1e-9);
            expectClose(own?.lower ?? NaN, part?.limits?.lower ?? NaN, CLOSED_FORM, name, 1e-9);
            expectClose(own?.upper ?? NaN, part?.limits?.upper ?? NaN, CLOSED_FORM, name, 1e-9);
          });
          if (theirs === undefined || !('skeletal' in theirs)) continue;
          expect(theirs.sums).toBeLessThan(1e-9);
          expectClose(theirs.skeletal, skeletalShare?.estimate ?? NaN, CLOSED_FORM, `${split}, ${span}`);
        }
      }
    });
  },
);

import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { answerOutcome, prepareQuestion, sensitivity } from '@longhold/core/answers';
import { generateDemo } from '@longhold/demo';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildReport, resultsSchema, studyFingerprint, type Results } from '../../apps/desktop/host/report';
import { expectAllClose, expectClose } from './closeness';
import { referencePath } from './fixture';
import { rIsThere } from './r-there';
import { CLOSED_FORM, EARLY_STOPPED, MAXIMUM_PLACE } from './tolerances';

/** What R works out of a results.json; it sees nothing else. */
interface Again {
  readonly retained: { n: number; share: number | null }[];
  readonly years: number[];
  readonly conventional: number[];
  readonly intervalCensored: number[];
  readonly lost: number[];
  readonly treatedAgain: number[];
  readonly reference: string;
  readonly hazardRatios: Record<string, number>;
  readonly clock: [lasting: number, forward: number];
  readonly fading: [lasting: number, fading: number];
  readonly lastingShare: number;
}

describe.skipIf(!rIsThere(['jsonlite', 'survival', 'lme4', 'cmprsk']))(
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
    }, 60_000);
    afterAll(() => rmSync(folder, { recursive: true, force: true }));

    it('gives the retained share of every year again', () => {
      results.retained.forEach(({ n, estimate }, i) => {
        expect(again.retained[i]?.n).toBe(n);
        if (estimate !== null)
          expectClose(again.retained[i]?.share ?? NaN, estimate, CLOSED_FORM, `year ${i + 1}`);
      });
    });

    it('gives the conventional curve again, and the interval-censored one as far as survfit iterates', () => {
      const at = (
        rows: readonly { year: number; estimate: number | null; undefinedWithin: unknown }[],
        year: number,
      ) => rows.find((row) => row.year === year);
      again.years.forEach((year, i) => {
        const conventional = at(results.survival?.kaplanMeier.atYears ?? [], year);
        expectClose(again.conventional[i] ?? NaN, conventional?.estimate ?? NaN, CLOSED_FORM);
        const own = at(results.survival?.intervalCensored.atYears ?? [], year);
        // Inside an innermost interval the curve is not defined, and the two read it differently.
        if (own?.undefinedWithin === null) {
          expect(Math.abs((again.intervalCensored[i] ?? NaN) - (own.estimate ?? NaN))).toBeLessThan(
            EARLY_STOPPED,
          );
        }
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
      expect(cox.length).toBe(Object.keys(again.hazardRatios).length);
      for (const { label, estimate } of cox)
        expectClose(again.hazardRatios[label] ?? NaN, estimate, MAXIMUM_PLACE, label);
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
  },
);

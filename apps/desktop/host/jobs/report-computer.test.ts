import { answerOutcome, prepareQuestion, sensitivity, type OutcomeAnswer } from '@longhold/core/answers';
import { generateDemo } from '@longhold/demo';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { makeFolder } from '../host.fixture';
import { buildReport, studyFingerprint, type Report } from '../report';
import { Turns } from '../store/turns';
import { AnswerJobs } from './answer-jobs';
import { AnswerWorker, type KeyedStudy } from './answer-worker';
import { ReportComputer, type ReportStudy } from './report-computer';
import { bundleWorker } from './worker.fixture';

const { study, today } = generateDemo({ seed: 5, patients: 60 });
const source = { storeName: 'invented', demo: true };
const keyed = { key: 'invented', study, tables: [], source };
/** A report on records, with a pool that says nothing. */
const reportOn = (records: KeyedStudy): ReportStudy => ({
  ...records,
  records,
  askPool: async () => ({ kind: 'none', why: 'not-linked' }),
});
const QUESTION = { asOf: today, resamples: 50 };
/** So many resamples that a computation outlasts the test unless it is stopped. */
const ENDLESS = { asOf: today, resamples: 20_000 };

let folder: string;
let remove: () => void;
let answers: AnswerJobs<OutcomeAnswer>;
let reports: AnswerJobs<Report, ReportStudy>;
let workers: AnswerWorker[];
let workerFile: string;

beforeAll(async () => {
  ({ folder, remove } = makeFolder());
  workerFile = await bundleWorker(folder);
});
beforeEach(() => {
  const [worker, wide] = [new AnswerWorker(workerFile), new AnswerWorker(workerFile)];
  workers = [worker, wide];
  const turns = new Turns();
  answers = new AnswerJobs(worker.answers, { turns });
  const sensitivities = new AnswerJobs(wide.sensitivities);
  reports = new AnswerJobs(new ReportComputer({ answers, sensitivities, worker, turns, version: '1.2.3' }));
});
afterEach(() => Promise.all(workers.map((worker) => worker.stop())));
afterAll(() => remove());

/** Waits for a job to have reached a share of its work. */
async function reached(jobs: Pick<AnswerJobs<unknown>, 'poll'>, job: string, share: number): Promise<void> {
  for (;;) {
    const current = jobs.poll(job);
    if (current.state !== 'running') throw new Error(`the job is ${current.state} already`);
    if (current.progress >= share) return;
    await new Promise((resolve) => setTimeout(resolve, 5));
  }
}

describe('a report written in the background', () => {
  it('is to the last letter what is written in one go, and tells how far it is', async () => {
    const told: number[] = [];
    const job = reports.start(reportOn(keyed), QUESTION);
    const watch = setInterval(() => {
      const current = reports.poll(job);
      if (current.state === 'running') told.push(current.progress);
    }, 5);
    const report = await reports.result(job);
    clearInterval(watch);
    expect(report).toEqual(
      buildReport({
        answer: answerOutcome(study, QUESTION),
        sensitivity: sensitivity(prepareQuestion(study, QUESTION)),
        version: '1.2.3',
        fingerprint: studyFingerprint(study),
        generatedFor: source,
        pool: { kind: 'none', why: 'not-linked' },
      }),
    );
    expect(Math.max(...told)).toBeGreaterThan(0.5);
    expect([...told].sort((a, b) => a - b)).toEqual(told);
  });

  it('takes the fingerprint of the records that are there now, not of those before', async () => {
    const fewer = { ...keyed, key: 'fewer', study: study.slice(1) };
    const fingerprints = [];
    for (const records of [keyed, fewer, keyed]) {
      const { json } = await reports.answerTo(reportOn(records), QUESTION);
      fingerprints.push(/sha256:[0-9a-f]{64}/.exec(json)?.[0]);
    }
    const [whole, without] = [studyFingerprint(study), studyFingerprint(fewer.study)];
    expect(fingerprints).toEqual([whole, without, whole]);
  });

  it('is stopped within a second while its answer is computed, and the next one is written', async () => {
    const job = reports.start(reportOn(keyed), ENDLESS);
    await reached(reports, job, 0.4);
    const asked = performance.now();
    await reports.stop(job);
    expect(performance.now() - asked).toBeLessThan(1000);
    expect(reports.poll(job)).toEqual({ state: 'stopped' });
    expect((await reports.answerTo(reportOn(keyed), QUESTION)).html).toContain('<svg');
  });

  it('that is stopped takes no answer from a screen that waits for the same', async () => {
    const screen = answers.start(keyed, { ...QUESTION, resamples: 2_000 });
    const job = reports.start(reportOn(keyed), { ...QUESTION, resamples: 2_000 });
    await reached(answers, screen, 0.5);
    await reports.stop(job);
    expect((await answers.result(screen)).treated).toBe(60);
  });

  it('outlives a question that is stopped while it is being written', async () => {
    await answers.answerTo(keyed, QUESTION);
    const job = reports.start(reportOn(keyed), QUESTION);
    await reached(reports, job, 0.5);
    const question = answers.start(keyed, ENDLESS);
    await answers.stop(question);
    expect((await reports.result(job)).html).toContain('<svg');
  });

  it('fails with the reason when its answer fails', async () => {
    await expect(reports.answerTo(reportOn(keyed), { measure: 'Xx-Yy' })).rejects.toThrow();
  });
});

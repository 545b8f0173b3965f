import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import {
  answerOutcome,
  patientCourse,
  prepareQuestion,
  sensitivity,
  type OutcomeAnswer,
} from '@longhold/core/answers';
import { generateDemo } from '@longhold/demo';
import { makeFolder } from '../host.fixture';
import { AnswerJobs } from './answer-jobs';
import { AnswerWorker } from './answer-worker';
import { bundleWorker } from './worker.fixture';

/** So many resamples that a computation outlasts the test unless it is stopped. */
const ENDLESS = { resamples: 20_000 };
const { study } = generateDemo({ seed: 5, patients: 60 });
const source = { storeName: 'invented', demo: true };
const keyed = { key: 'invented', study, tables: [], source };

let folder: string;
let remove: () => void;
let workerFile: string;
let worker: AnswerWorker;

beforeAll(async () => {
  ({ folder, remove } = makeFolder());
  workerFile = await bundleWorker(folder);
  worker = new AnswerWorker(workerFile);
});
afterEach(() => worker.stop());
afterAll(() => remove());

describe('the thread that computes answers', () => {
  it('gives to the last digit what core gives, and tells how far it is on the way', async () => {
    const told: number[] = [];
    const answer = await worker.answer(keyed, {}, (fraction) => told.push(fraction));
    expect(answer).toEqual(answerOutcome(study, {}));
    expect(told[0]).toBe(0);
    expect([...told].sort((a, b) => a - b)).toEqual(told);
    const code = answer.patients[0]?.code ?? '';
    expect(await worker.course(keyed, {}, code)).toEqual(patientCourse(prepareQuestion(study, {}), code));
  });

  it('answers again with one thing changed at a time, as core does', async () => {
    const answer = await worker.sensitivity(keyed, {}, () => undefined);
    expect(answer).toEqual(sensitivity(prepareQuestion(study, {})));
  });

  it('is stopped within a second in the midst of a computation, and the next question is answered', async () => {
    const jobs = new AnswerJobs(worker.answers);
    const job = jobs.start(keyed, ENDLESS);
    await untilComputing(jobs, job);
    const asked = performance.now();
    await jobs.stop(job);
    expect(performance.now() - asked).toBeLessThan(1000);
    expect(jobs.poll(job)).toEqual({ state: 'stopped' });
    expect((await jobs.answerTo(keyed, {})).treated).toBe(60);
  });

  it('that dies fails its question with a plain sentence instead of leaving it hanging', async () => {
    const dying = join(folder, 'dying.cjs');
    writeFileSync(dying, "require('node:worker_threads').parentPort.on('message', () => process.exit(7));");
    const jobs = new AnswerJobs(new AnswerWorker(dying).answers);
    await expect(jobs.answerTo(keyed, {})).rejects.toMatchObject({ reason: 'internal' });
  });

  it('that cannot be started fails its question too', async () => {
    const jobs = new AnswerJobs(new AnswerWorker(join(folder, 'missing.cjs')).answers);
    await expect(jobs.answerTo(keyed, {})).rejects.toMatchObject({ reason: 'internal' });
  });
});

async function untilComputing(jobs: AnswerJobs<OutcomeAnswer>, job: string): Promise<void> {
  for (;;) {
    const current = jobs.poll(job);
    if (current.state !== 'running') throw new Error(`the job is ${current.state} already`);
    if (current.progress > 0.4) return;
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
}

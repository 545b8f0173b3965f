import type { OutcomeAnswer, OutcomeQuestionInput } from '@longhold/core/answers';
import { answerOutcome } from '@longhold/core/answers';
import { describe, expect, it } from 'vitest';
import { HostFailure } from '../failure';
import { AnswerJobs } from './answer-jobs';

const EMPTY = { key: 'store@1', study: [], tables: [], source: { storeName: 'store', demo: false } };
const question = (measure: string): OutcomeQuestionInput => ({ measure });

/** A worker that computes only when told to. */
class ManualWorker {
  readonly asked: string[] = [];
  #release: (() => void) | null = null;
  #fail: ((failure: HostFailure) => void) | null = null;

  compute(_study: unknown, asked: OutcomeQuestionInput): Promise<OutcomeAnswer> {
    this.asked.push(asked.measure ?? '');
    return new Promise((resolve, reject) => {
      this.#release = () => resolve(answerOutcome([], asked));
      this.#fail = reject;
    });
  }

  stop(): Promise<void> {
    this.#fail?.(new HostFailure('stopped', 'stopped'));
    return Promise.resolve();
  }

  async finish(): Promise<void> {
    await settled();
    this.#release?.();
    await settled();
  }
}

const settled = (): Promise<void> => new Promise((resolve) => setImmediate(resolve));

describe('questions and their answers', () => {
  it('computes the same question on the same records once for all who ask it', async () => {
    const worker = new ManualWorker();
    const jobs = new AnswerJobs(worker);
    const [first, second] = [jobs.start(EMPTY, question('overjet')), jobs.start(EMPTY, question('overjet'))];
    await worker.finish();
    expect(worker.asked).toEqual(['overjet']);
    expect([jobs.poll(first).state, jobs.poll(second).state]).toEqual(['done', 'done']);
  });

  it('computes it again once the records have changed', async () => {
    const worker = new ManualWorker();
    const jobs = new AnswerJobs(worker);
    jobs.start(EMPTY, question('overjet'));
    await worker.finish();
    jobs.start({ ...EMPTY, key: 'store@2' }, question('overjet'));
    await worker.finish();
    expect(worker.asked).toEqual(['overjet', 'overjet']);
  });

  it('runs one after the other', async () => {
    const worker = new ManualWorker();
    const jobs = new AnswerJobs(worker);
    jobs.start(EMPTY, question('overjet'));
    const second = jobs.start(EMPTY, question('overbite'));
    await settled();
    expect(worker.asked).toEqual(['overjet']);
    await worker.finish();
    await worker.finish();
    expect(jobs.poll(second).state).toBe('done');
  });

  it('stops for one who asked without taking the answer from another', async () => {
    const worker = new ManualWorker();
    const jobs = new AnswerJobs(worker);
    const [mine, yours] = [jobs.start(EMPTY, question('overjet')), jobs.start(EMPTY, question('overjet'))];
    await settled();
    await jobs.stop(mine);
    await worker.finish();
    expect([jobs.poll(mine).state, jobs.poll(yours).state]).toEqual(['stopped', 'done']);
  });

  it('ends the computation once nobody waits for it, and goes on with the next question', async () => {
    const worker = new ManualWorker();
    const jobs = new AnswerJobs(worker);
    const first = jobs.start(EMPTY, question('overjet'));
    const second = jobs.start(EMPTY, question('overbite'));
    await settled();
    await jobs.stop(first);
    await worker.finish();
    expect([jobs.poll(first).state, jobs.poll(second).state]).toEqual(['stopped', 'done']);
  });

  it('knows nothing of jobs of a store that was closed', async () => {
    const worker = new ManualWorker();
    const jobs = new AnswerJobs(worker);
    const job = jobs.start(EMPTY, question('overjet'));
    await worker.finish();
    await jobs.forget();
    expect(() => jobs.poll(job)).toThrow(/not known any more/);
  });
});

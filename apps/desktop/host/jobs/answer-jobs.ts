import type { ExpectedCourse, OutcomeAnswer, OutcomeQuestionInput } from '@longhold/core/answers';
import { HostFailure, toFailure, type FailureReason } from '../failure';
import { AnswerWorker, type KeyedStudy } from './answer-worker';

/** How far one question is. */
export type JobState =
  | { readonly state: 'running'; readonly progress: number; readonly step: string }
  | { readonly state: 'done'; readonly answer: OutcomeAnswer }
  | { readonly state: 'stopped' }
  | { readonly state: 'failed'; readonly error: { readonly code: FailureReason; readonly message: string } };

interface Job {
  readonly id: string;
  readonly study: KeyedStudy;
  readonly question: OutcomeQuestionInput;
  current: JobState;
  /** Resolves when the job is no longer running, however it ended. */
  ended: Promise<void>;
}

/** Answers that are kept for those who come back to them. */
const KEPT = 8;

/**
 * Questions and their answers. The same question on the same state of the records is the same job, so its answer is
 * computed once. Jobs run one after the other.
 */
export class AnswerJobs {
  readonly #worker: AnswerWorker;
  #jobs: Job[] = [];
  #queue: Promise<void> = Promise.resolve();

  constructor(workerFile: string) {
    this.#worker = new AnswerWorker(workerFile);
  }

  /** Starts a question, or finds it running or answered. Returns the job's name. */
  start(study: KeyedStudy, question: OutcomeQuestionInput): string {
    const id = `${study.key}:${JSON.stringify(question)}`;
    const known = this.#jobs.find((job) => job.id === id);
    if (known !== undefined && (known.current.state === 'running' || known.current.state === 'done'))
      return id;
    const job: Job = { id, study, question, current: waiting(), ended: Promise.resolve() };
    this.#jobs = [job, ...this.#jobs.filter((other) => other.id !== id)].slice(0, KEPT);
    this.#queue = this.#queue.then(() => this.#run(job));
    job.ended = this.#queue;
    return id;
  }

  /** The answer to a question, waited for. */
  async answerTo(study: KeyedStudy, question: OutcomeQuestionInput): Promise<OutcomeAnswer> {
    const job = this.#find(this.start(study, question));
    await job.ended;
    if (job.current.state === 'done') return job.current.answer;
    if (job.current.state === 'failed')
      throw new HostFailure(job.current.error.code, job.current.error.message);
    throw new HostFailure('stopped', 'The computation was stopped.');
  }

  poll(id: string): JobState {
    return this.#find(id).current;
  }

  /** The answer of a job that is done. */
  answer(id: string): OutcomeAnswer {
    const { current } = this.#find(id);
    if (current.state !== 'done') throw new HostFailure('unknown-job', 'This question has no answer yet.');
    return current.answer;
  }

  /** The expected course of one patient of a job that is done. */
  course(id: string, code: string): Promise<ExpectedCourse | null> {
    const { study, question } = this.#find(id);
    return this.#worker.course(study, question, code);
  }

  /** Stops a job; one that has ended stays as it is. */
  async stop(id: string): Promise<void> {
    const job = this.#find(id);
    if (job.current.state !== 'running') return;
    const computing = job.current.progress > 0 || this.#isFirstRunning(job);
    job.current = { state: 'stopped' };
    if (computing) await this.#worker.stop();
  }

  /** Forgets every job, since the records they were about are closed. */
  forget(): void {
    for (const job of this.#jobs) if (job.current.state === 'running') job.current = { state: 'stopped' };
    this.#jobs = [];
    void this.#worker.stop();
  }

  close(): Promise<void> {
    this.#jobs = [];
    return this.#worker.stop();
  }

  async #run(job: Job): Promise<void> {
    if (job.current.state !== 'running') return;
    try {
      const answer = await this.#worker.answer(job.study, job.question, (progress, step) => {
        if (job.current.state === 'running') job.current = { state: 'running', progress, step };
      });
      if (job.current.state === 'running') job.current = { state: 'done', answer };
    } catch (thrown) {
      if (job.current.state !== 'running') return;
      const { reason, message } = toFailure(thrown);
      job.current =
        reason === 'stopped' ? { state: 'stopped' } : { state: 'failed', error: { code: reason, message } };
    }
  }

  #isFirstRunning(job: Job): boolean {
    const running = this.#jobs.filter(({ current }) => current.state === 'running');
    return running[running.length - 1] === job;
  }

  #find(id: string): Job {
    const job = this.#jobs.find((candidate) => candidate.id === id);
    if (job === undefined)
      throw new HostFailure('unknown-job', 'This question is not known any more. Ask it again.');
    return job;
  }
}

function waiting(): JobState {
  return { state: 'running', progress: 0, step: 'Waiting for the question before' };
}

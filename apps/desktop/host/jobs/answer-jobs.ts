import type { OutcomeQuestionInput } from '@longhold/core/answers';
import { HostFailure, toFailure, type FailureReason } from '../failure';
import { Turns } from '../store/turns';
import type { KeyedStudy } from './answer-worker';

/** How far one question is. */
export type JobState<Answer> =
  | { readonly state: 'running'; readonly progress: number; readonly step: string }
  | { readonly state: 'done'; readonly answer: Answer }
  | { readonly state: 'stopped' }
  | { readonly state: 'failed'; readonly error: { readonly code: FailureReason; readonly message: string } };

/** One question on one state of the records, however many ask it. */
interface Computation<Answer, Records> {
  readonly key: string;
  readonly study: Records;
  readonly question: OutcomeQuestionInput;
  current: JobState<Answer>;
  /** Whether the worker is on it; it may also still be waiting. */
  computing: boolean;
  /** Resolves when it is no longer running, however it ended. */
  ended: Promise<void>;
}

/** One asking of a question. Whoever asked may stop it, which must not take the answer from another. */
interface Asking<Answer, Records> {
  readonly computation: Computation<Answer, Records>;
  stopped: boolean;
}

/** How the jobs of one kind are kept and computed. */
export interface JobOptions {
  /** Shared by jobs of several kinds whose computers must not be at work at the same time. */
  readonly turns?: Turns;
  /** Ended computations that are kept for those who come back to them. */
  readonly kept?: number;
}

const KEPT = 8;
const LOOK_MILLISECONDS = 100;

/** Who computes the answers of one kind, and can be stopped. */
export interface Computer<Answer, Records extends KeyedStudy = KeyedStudy> {
  readonly compute: (
    study: Records,
    question: OutcomeQuestionInput,
    progress: (fraction: number, step: string) => void,
  ) => Promise<Answer>;
  readonly stop: () => Promise<void>;
}

/**
 * Questions and their answers of one kind. Each asking is a job with a name of its own; the same question on the same state of
 * the records is computed once for all that ask it. Computations run one after the other.
 */
export class AnswerJobs<Answer, Records extends KeyedStudy = KeyedStudy> {
  readonly #computer: Computer<Answer, Records>;
  /** Newest first. */
  #computations: Computation<Answer, Records>[] = [];
  readonly #askings = new Map<string, Asking<Answer, Records>>();
  readonly #turns: Turns;
  readonly #kept: number;
  #lastJob = 0;

  constructor(computer: Computer<Answer, Records>, { turns = new Turns(), kept = KEPT }: JobOptions = {}) {
    this.#computer = computer;
    this.#turns = turns;
    this.#kept = kept;
  }

  /** Asks a question and returns the job's name. */
  start(study: Records, question: OutcomeQuestionInput): string {
    const job = `answer-${++this.#lastJob}`;
    this.#askings.set(job, { computation: this.#computationOf(study, question), stopped: false });
    this.#letGo();
    return job;
  }

  /** The answer to a question, waited for. */
  answerTo(study: Records, question: OutcomeQuestionInput): Promise<Answer> {
    return this.result(this.start(study, question));
  }

  /**
   * The answer of a job, waited for; a job that is stopped or fails throws.
   * @param follow is told at times how far the job is
   */
  async result(
    job: string,
    follow: (fraction: number, step: string) => void = () => undefined,
  ): Promise<Answer> {
    const asking = this.#find(job);
    const { computation } = asking;
    const look = setInterval(() => {
      const { current } = computation;
      if (current.state === 'running') follow(current.progress, current.step);
    }, LOOK_MILLISECONDS);
    await computation.ended;
    clearInterval(look);
    const { current } = computation;
    if (current.state === 'done' && !asking.stopped) return current.answer;
    if (current.state === 'failed') throw new HostFailure(current.error.code, current.error.message);
    throw new HostFailure('stopped', 'The computation was stopped.');
  }

  poll(job: string): JobState<Answer> {
    const { computation, stopped } = this.#find(job);
    return stopped ? { state: 'stopped' } : computation.current;
  }

  /** The answer of a job that is done. */
  answer(job: string): Answer {
    const current = this.poll(job);
    if (current.state !== 'done') throw new HostFailure('unknown-job', 'This question has no answer yet.');
    return current.answer;
  }

  /** What a job was asked of. */
  asked(job: string): { readonly study: Records; readonly question: OutcomeQuestionInput } {
    return this.#find(job).computation;
  }

  /** Stops a job. What it computes goes on while somebody else waits for it; what has ended stays as it is. */
  async stop(job: string): Promise<void> {
    const asking = this.#find(job);
    const { computation } = asking;
    if (computation.current.state !== 'running') return;
    asking.stopped = true;
    const wanted = [...this.#askings.values()].some(
      (other) => other.computation === computation && !other.stopped,
    );
    if (wanted) return;
    computation.current = { state: 'stopped' };
    if (computation.computing) await this.#computer.stop();
  }

  /** Forgets every job, since the records they were about are closed. Resolves when nothing computes any more. */
  async forget(): Promise<void> {
    for (const computation of this.#computations) {
      if (computation.current.state === 'running') computation.current = { state: 'stopped' };
    }
    this.#computations = [];
    this.#askings.clear();
    await this.#computer.stop();
  }

  #computationOf(study: Records, question: OutcomeQuestionInput): Computation<Answer, Records> {
    const key = `${study.key}:${JSON.stringify(question)}`;
    const known = this.#computations.find((candidate) => candidate.key === key);
    if (known !== undefined && (known.current.state === 'running' || known.current.state === 'done')) {
      return known;
    }
    const computation: Computation<Answer, Records> = {
      key,
      study,
      question,
      current: { state: 'running', progress: 0, step: 'Waiting for its turn' },
      computing: false,
      ended: Promise.resolve(),
    };
    this.#computations = [computation, ...this.#computations.filter((other) => other !== known)];
    computation.ended = this.#turns.take(() => this.#run(computation));
    return computation;
  }

  async #run(computation: Computation<Answer, Records>): Promise<void> {
    if (computation.current.state !== 'running') return;
    computation.computing = true;
    const ended = await this.#compute(computation);
    computation.computing = false;
    // Whoever stopped it meanwhile has been told so already.
    if (computation.current.state === 'running') computation.current = ended;
  }

  async #compute(computation: Computation<Answer, Records>): Promise<JobState<Answer>> {
    try {
      const answer = await this.#computer.compute(
        computation.study,
        computation.question,
        (progress, step) => {
          if (computation.current.state === 'running')
            computation.current = { state: 'running', progress, step };
        },
      );
      return { state: 'done', answer };
    } catch (thrown) {
      const { reason, message } = toFailure(thrown);
      if (reason === 'stopped') return { state: 'stopped' };
      return { state: 'failed', error: { code: reason, message } };
    }
  }

  /** Keeps what still runs and the latest that have ended; lets go of older ones and of the jobs that named them. */
  #letGo(): void {
    let ended = 0;
    this.#computations = this.#computations.filter(
      ({ current }) => current.state === 'running' || ++ended <= this.#kept,
    );
    for (const [job, { computation }] of this.#askings) {
      if (!this.#computations.includes(computation)) this.#askings.delete(job);
    }
  }

  #find(job: string): Asking<Answer, Records> {
    const asking = this.#askings.get(job);
    if (asking === undefined)
      throw new HostFailure('unknown-job', 'This question is not known any more. Ask it again.');
    return asking;
  }
}

import { failureOf, type Failure } from './failure';

/** What the host says of a running computation. */
export type JobReport<Answer> =
  | { readonly state: 'running'; readonly progress: number; readonly step: string }
  | { readonly state: 'done'; readonly answer: Answer }
  | { readonly state: 'stopped' }
  | { readonly state: 'failed'; readonly error: { readonly code: string; readonly message: string } };

/** The host's calls for one kind of computation. */
export interface JobCalls<Question, Answer> {
  readonly start: (question: Question) => Promise<{ job: string }>;
  readonly poll: (job: string) => Promise<JobReport<Answer>>;
  readonly stop: (job: string) => Promise<unknown>;
}

/** A finished computation: its answer, and the job under which the host still holds the details. */
export interface Finished<Answer> {
  readonly job: string;
  readonly answer: Answer;
}

const POLL_MILLISECONDS = 150;

/** A computation in the background. The last answer stays until the next is there. */
export class OutcomeJob<Question, Answer> {
  #calls: JobCalls<Question, Answer>;
  #wait: (milliseconds: number) => Promise<void>;
  #key = $state('');
  #turn = 0;
  #job: string | null = null;
  #state = $state<'idle' | 'running' | 'done' | 'stopped' | 'failed'>('idle');
  #progress = $state(0);
  #step = $state('');
  #finished = $state.raw<Finished<Answer> | null>(null);
  #failure = $state.raw<Failure | null>(null);

  constructor(calls: JobCalls<Question, Answer>, wait = waitFor) {
    this.#calls = calls;
    this.#wait = wait;
  }

  get state(): 'idle' | 'running' | 'done' | 'stopped' | 'failed' {
    return this.#state;
  }

  get progress(): number {
    return this.#progress;
  }

  get step(): string {
    return this.#step;
  }

  get finished(): Finished<Answer> | null {
    return this.#finished;
  }

  get failure(): Failure | null {
    return this.#failure;
  }

  /** Whether what is computed or was computed last answers the question of that key. */
  isAbout(key: string): boolean {
    return this.#key === key;
  }

  /** Ask a question unless the same one (by its key) is being computed or answered already. */
  async ask(question: Question, key: string): Promise<void> {
    if (key === this.#key) return;
    this.#key = key;
    const turn = (this.#turn += 1);
    this.#stopOnHost();
    this.#state = 'running';
    this.#progress = 0;
    this.#step = 'Starting';
    this.#failure = null;
    try {
      const { job } = await this.#calls.start(question);
      if (turn !== this.#turn) return void this.#calls.stop(job).catch(() => undefined);
      this.#job = job;
      await this.#follow(job, turn);
    } catch (error) {
      if (turn === this.#turn) this.#fail(failureOf(error));
    }
  }

  /** Ask anew even though the question is the same: after a stop, a failure, or when the host let the job go. */
  askAgain(question: Question, key: string): Promise<void> {
    this.#key = '';
    return this.ask(question, key);
  }

  /** Stop computing; the previous answer stays. */
  stop(): void {
    if (this.#state !== 'running') return;
    this.#turn += 1;
    this.#stopOnHost();
    this.#state = 'stopped';
  }

  /** Forget everything: the store was closed. */
  clear(): void {
    this.stop();
    this.#key = '';
    this.#state = 'idle';
    this.#finished = null;
    this.#failure = null;
  }

  async #follow(job: string, turn: number): Promise<void> {
    for (;;) {
      const report = await this.#calls.poll(job);
      if (turn !== this.#turn) return;
      if (report.state !== 'running') return this.#end(job, report);
      this.#progress = report.progress;
      this.#step = report.step;
      await this.#wait(POLL_MILLISECONDS);
      if (turn !== this.#turn) return;
    }
  }

  #end(job: string, report: Exclude<JobReport<Answer>, { state: 'running' }>): void {
    this.#job = null;
    if (report.state === 'failed')
      return this.#fail({ reason: report.error.code, message: report.error.message });
    this.#state = report.state;
    if (report.state === 'done') this.#finished = { job, answer: report.answer };
  }

  #fail(failure: Failure): void {
    this.#job = null;
    this.#state = 'failed';
    this.#failure = failure;
  }

  #stopOnHost(): void {
    /* Stopping only spares the host work; when it fails there is nothing to tell. */
    if (this.#job !== null) this.#calls.stop(this.#job).catch(() => undefined);
    this.#job = null;
  }
}

function waitFor(milliseconds: number): Promise<void> {
  return new Promise((resolve) => setTimeout(resolve, milliseconds));
}

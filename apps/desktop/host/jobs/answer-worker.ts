import { Worker } from 'node:worker_threads';
import type {
  ExpectedCourse,
  OutcomeAnswer,
  OutcomeQuestionInput,
  PlanningAnswer,
  PlanningInput,
  SensitivityAnswer,
} from '@longhold/core/answers';
import type { ImportedTable } from '@longhold/core/growth';
import type { Refusal } from '@longhold/core/numeric';
import type { Study } from '@longhold/core/records';
import { HostFailure } from '../failure';
import type { Made, MakingTask } from '../pooling/making';
import type { MakingState } from '../pooling/making-thread';
import type { Report, ReportSource } from '../report';
import { emptyBook, type PoolingBook, type PoolingValue } from '../store';
import type { Computer } from './answer-jobs';
import type { ReportRequest, WorkerReply, WorkerRequest, WorkerResult } from './messages';

interface Waiting {
  readonly progress: (fraction: number, step: string) => void;
  readonly done: (reply: WorkerResult) => void;
  readonly failed: (failure: HostFailure) => void;
}

/** The records a request is about; the worker keeps the last ones it was sent. */
export interface KeyedStudy {
  readonly key: string;
  readonly study: Study;
  /** The growth tables that the clinic imported. */
  readonly tables: readonly ImportedTable[];
  readonly source: ReportSource;
}

/** Patients are sent in parts of so many: copying all of them at once would hold up the host's own thread. */
const PATIENTS_AT_ONCE = 200;

/** One worker thread that computes answers, started when first needed and again after a stop. */
export class AnswerWorker {
  readonly #file: string;
  readonly #waiting = new Map<number, Waiting>();
  #worker: Worker | null = null;
  #studyKey: string | null = null;
  #poolingKey: string | null = null;
  /** Resolves when the worker has been sent the records. */
  #sent: Promise<void> = Promise.resolve();
  #nextId = 1;

  constructor(file: string) {
    this.#file = file;
  }

  /** This worker as the computer of answers. */
  get answers(): Computer<OutcomeAnswer> {
    return {
      compute: (study, question, progress) => this.answer(study, question, progress),
      stop: () => this.stop(),
    };
  }

  /** This worker as the computer of sensitivities. */
  get sensitivities(): Computer<SensitivityAnswer> {
    return {
      compute: (study, question, progress) => this.sensitivity(study, question, progress),
      stop: () => this.stop(),
    };
  }

  async answer(
    study: KeyedStudy,
    question: OutcomeQuestionInput,
    progress: (fraction: number, step: string) => void,
  ): Promise<OutcomeAnswer> {
    const reply = await this.#ask(study, (id) => ({ kind: 'answer', id, question }), progress);
    if (reply.kind !== 'answer') throw new HostFailure('internal', 'The worker answered another request.');
    return reply.answer;
  }

  async sensitivity(
    study: KeyedStudy,
    question: OutcomeQuestionInput,
    progress: (fraction: number, step: string) => void,
  ): Promise<SensitivityAnswer> {
    const reply = await this.#ask(study, (id) => ({ kind: 'sensitivity', id, question }), progress);
    if (reply.kind !== 'sensitivity')
      throw new HostFailure('internal', 'The worker answered another request.');
    return reply.sensitivity;
  }

  async planning(
    study: KeyedStudy,
    question: OutcomeQuestionInput,
    input: PlanningInput,
  ): Promise<PlanningAnswer | Refusal> {
    const reply = await this.#ask(
      study,
      (id) => ({ kind: 'planning', id, question, input }),
      () => undefined,
    );
    if (reply.kind !== 'planning') throw new HostFailure('internal', 'The worker answered another request.');
    return reply.planning;
  }

  async course(
    study: KeyedStudy,
    question: OutcomeQuestionInput,
    code: string,
  ): Promise<ExpectedCourse | null> {
    const reply = await this.#ask(
      study,
      (id) => ({ kind: 'course', id, question, code }),
      () => undefined,
    );
    if (reply.kind !== 'course') throw new HostFailure('internal', 'The worker answered another request.');
    return reply.course;
  }

  /** The report on a question; the worker still has the answer if it gave it last. */
  async report(
    study: KeyedStudy,
    question: OutcomeQuestionInput,
    input: ReportRequest,
    progress: (fraction: number, step: string) => void,
  ): Promise<Report> {
    const reply = await this.#ask(study, (id) => ({ kind: 'report', id, question, input }), progress);
    if (reply.kind !== 'report') throw new HostFailure('internal', 'The worker answered another request.');
    return reply.report;
  }

  /** What would leave for a pool, or a part of it; the worker keeps what it made of the same records and state. */
  async pooling(
    study: KeyedStudy,
    state: MakingState,
    task: MakingTask,
    progress: (fraction: number, step: string) => void,
  ): Promise<Made> {
    const worker = this.#worker ?? this.#start();
    this.#sendStudy(worker, study);
    if (this.#poolingKey !== state.key) {
      this.#poolingKey = state.key;
      const heads = [...state.book.head];
      const rest = { ...state, book: forMaking(state.book) };
      this.#sent = this.#sent
        .then(() => this.#sendPooling(worker, rest, heads))
        .catch(() => this.#lost(worker));
    }
    // Nothing else keeps the command line from ending while it waits for this.
    worker.ref();
    try {
      const reply = await this.#ask(study, (id) => ({ kind: 'make', id, task }), progress);
      if (reply.kind === 'make') return reply.made;
      throw new HostFailure('internal', 'The worker answered another request.');
    } finally {
      if (this.#waiting.size === 0) worker.unref();
    }
  }

  /** Ends whatever is being computed; those who wait are told that it was stopped. */
  async stop(): Promise<void> {
    const worker = this.#worker;
    this.#drop(new HostFailure('stopped', 'The computation was stopped.'));
    await worker?.terminate();
  }

  #ask(
    keyed: KeyedStudy,
    request: (id: number) => WorkerRequest,
    progress: Waiting['progress'],
  ): Promise<WorkerResult> {
    const worker = this.#worker ?? this.#start();
    this.#sendStudy(worker, keyed);
    const id = this.#nextId++;
    return new Promise((done, failed) => {
      this.#waiting.set(id, { progress, done, failed });
      // Who waits no longer has been told so.
      void this.#sent.then(() => {
        if (this.#waiting.has(id)) worker.postMessage(request(id));
      });
    });
  }

  #sendStudy(worker: Worker, keyed: KeyedStudy): void {
    if (this.#studyKey === keyed.key) return;
    this.#studyKey = keyed.key;
    this.#sent = this.#sent.then(() => this.#send(worker, keyed)).catch(() => this.#lost(worker));
  }

  async #sendPooling(
    worker: Worker,
    state: MakingState,
    heads: readonly (readonly [string, PoolingValue<'head'>])[],
  ): Promise<void> {
    const post = (request: WorkerRequest): void => worker.postMessage(request);
    post({ kind: 'pooling', state });
    for (let from = 0; from < heads.length; from += PATIENTS_AT_ONCE) {
      await new Promise((resolve) => setImmediate(resolve));
      if (this.#worker !== worker) return;
      post({ kind: 'more-heads', heads: heads.slice(from, from + PATIENTS_AT_ONCE) });
    }
  }

  /** Sends the records part by part, leaving the thread to others in between. */
  async #send(worker: Worker, { study, tables }: KeyedStudy): Promise<void> {
    const post = (request: WorkerRequest): void => worker.postMessage(request);
    post({ kind: 'records', study: study.slice(0, PATIENTS_AT_ONCE), tables });
    for (let from = PATIENTS_AT_ONCE; from < study.length; from += PATIENTS_AT_ONCE) {
      await new Promise((resolve) => setImmediate(resolve));
      if (this.#worker !== worker) return;
      post({ kind: 'more-records', study: study.slice(from, from + PATIENTS_AT_ONCE) });
    }
  }

  #start(): Worker {
    const worker = new Worker(this.#file);
    worker.on('message', (reply: WorkerReply) => this.#receive(reply));
    worker.on('error', () => this.#lost(worker));
    worker.on('exit', () => this.#lost(worker));
    // A forgotten worker must not keep the program from ending.
    worker.unref();
    this.#worker = worker;
    return worker;
  }

  #receive(reply: WorkerReply): void {
    const waiting = this.#waiting.get(reply.id);
    if (waiting === undefined) return;
    if (reply.kind === 'progress') {
      waiting.progress(reply.fraction, reply.step);
      return;
    }
    this.#waiting.delete(reply.id);
    if (reply.kind === 'failed') waiting.failed(new HostFailure(reply.reason, reply.message));
    else waiting.done(reply);
  }

  #lost(worker: Worker): void {
    if (this.#worker !== worker) return;
    this.#drop(new HostFailure('internal', 'The computation ended unexpectedly. Please try again.'));
  }

  #drop(failure: HostFailure): void {
    this.#worker = null;
    this.#studyKey = null;
    this.#poolingKey = null;
    const waiting = [...this.#waiting.values()];
    this.#waiting.clear();
    for (const { failed } of waiting) failed(failure);
  }
}

/** What is needed of the store's pooling to make what would leave; what waits in the outbox is not. */
function forMaking(book: PoolingBook): PoolingBook {
  const { link, secret, sheet, withdrawal, definition, counted, statistics, offered } = book;
  const sent = new Map([...book.sent].filter(([, one]) => one.statistics !== null));
  return {
    ...emptyBook(),
    link: new Map(link),
    secret: new Map(secret),
    sheet: new Map(sheet),
    withdrawal: new Map(withdrawal),
    definition: new Map(definition),
    counted: new Map(counted),
    statistics: new Map(statistics),
    offered: new Map(offered),
    sent,
  };
}

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
import type { Computer } from './answer-jobs';
import type { WorkerReply, WorkerRequest } from './messages';

interface Waiting {
  readonly progress: (fraction: number, step: string) => void;
  readonly done: (
    reply: Extract<WorkerReply, { kind: 'answer' | 'course' | 'planning' | 'sensitivity' }>,
  ) => void;
  readonly failed: (failure: HostFailure) => void;
}

/** The records a request is about; the worker keeps the last ones it was sent. */
export interface KeyedStudy {
  readonly key: string;
  readonly study: Study;
  /** The growth tables that the clinic imported. */
  readonly tables: readonly ImportedTable[];
}

/** One worker thread that computes answers, started when first needed and again after a stop. */
export class AnswerWorker {
  readonly #file: string;
  readonly #waiting = new Map<number, Waiting>();
  #worker: Worker | null = null;
  #studyKey: string | null = null;
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

  /** Ends whatever is being computed; those who wait are told that it was stopped. */
  async stop(): Promise<void> {
    const worker = this.#worker;
    this.#drop(new HostFailure('stopped', 'The computation was stopped.'));
    await worker?.terminate();
  }

  #ask(
    { key, study, tables }: KeyedStudy,
    request: (id: number) => WorkerRequest,
    progress: Waiting['progress'],
  ): Promise<Extract<WorkerReply, { kind: 'answer' | 'course' | 'planning' | 'sensitivity' }>> {
    const worker = this.#worker ?? this.#start();
    if (this.#studyKey !== key) {
      worker.postMessage({ kind: 'study', key, study, tables } satisfies WorkerRequest);
      this.#studyKey = key;
    }
    const id = this.#nextId++;
    return new Promise((done, failed) => {
      this.#waiting.set(id, { progress, done, failed });
      worker.postMessage(request(id));
    });
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
    const waiting = [...this.#waiting.values()];
    this.#waiting.clear();
    for (const { failed } of waiting) failed(failure);
  }
}

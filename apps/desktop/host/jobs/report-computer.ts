import type { OutcomeAnswer, OutcomeQuestionInput, SensitivityAnswer } from '@longhold/core/answers';
import { HostFailure } from '../failure';
import type { PoolBeside } from '../pooling/pool-beside';
import type { Report } from '../report';
import type { Turns } from '../store/turns';
import type { AnswerJobs, Computer } from './answer-jobs';
import type { AnswerWorker, KeyedStudy } from './answer-worker';

/** What builds a report, and what it rests on. */
export interface ReportParts {
  readonly answers: AnswerJobs<OutcomeAnswer>;
  readonly sensitivities: AnswerJobs<SensitivityAnswer>;
  /** The thread of the answers: it has the records, and mostly the answer. */
  readonly worker: AnswerWorker;
  /** Taken by that thread's work, so that stopping one piece of it does not take another with it. */
  readonly turns: Turns;
  /** Version of the program. */
  readonly version: string;
}

/** The records that a report is about, and who says what the pool answers. */
export interface ReportStudy extends KeyedStudy {
  /** The records under the name by which answers know them; `key` is of this report. */
  readonly records: KeyedStudy;
  /** Asks for the pooled answer; throws only where it is stopped. */
  readonly askPool: (stop: AbortSignal) => Promise<PoolBeside>;
}

/** Share of the work that is done when answer and sensitivity are there. */
const ANSWERED = 0.8;

/**
 * Builds reports: asks for the answer and for its sensitivity as the screens do, each in its thread, and meanwhile for the
 * pooled answer; then has the texts written in the thread of the answers.
 */
export class ReportComputer implements Computer<Report, ReportStudy> {
  readonly #parts: ReportParts;
  /** Stops what is under way for the report that is being built. */
  #halt: () => Promise<void> = () => Promise.resolve();

  constructor(parts: ReportParts) {
    this.#parts = parts;
  }

  async compute(
    { records, askPool }: ReportStudy,
    question: OutcomeQuestionInput,
    progress: (fraction: number, step: string) => void,
  ): Promise<Report> {
    const { worker, turns, version } = this.#parts;
    const asking = new AbortController();
    const asked = askPool(asking.signal);
    // Whoever fails first is told of below.
    asked.catch(() => undefined);
    let sensitivity: SensitivityAnswer;
    try {
      sensitivity = await this.#answered(records, question, (fraction, step) =>
        progress(ANSWERED * fraction, step),
      );
    } catch (thrown) {
      asking.abort();
      throw thrown;
    }
    progress(ANSWERED, 'Asking the pooling service');
    this.#halt = async () => asking.abort();
    const pool = await asked;
    if (asking.signal.aborted) throw new HostFailure('stopped', 'The computation was stopped.');
    let halted = false;
    let writing = false;
    this.#halt = async () => {
      halted = true;
      if (writing) await worker.stop();
    };
    return turns.take(async () => {
      if (halted) throw new HostFailure('stopped', 'The computation was stopped.');
      writing = true;
      try {
        const input = { sensitivity, version, source: records.source, pool };
        return await worker.report(records, question, input, (fraction, step) =>
          progress(ANSWERED + (1 - ANSWERED) * fraction, step),
        );
      } finally {
        writing = false;
      }
    });
  }

  stop(): Promise<void> {
    return this.#halt();
  }

  /** Waits until answer and sensitivity are there, and gives the latter; the answer stays in its thread. */
  async #answered(
    study: KeyedStudy,
    question: OutcomeQuestionInput,
    progress: (fraction: number, step: string) => void,
  ): Promise<SensitivityAnswer> {
    const { answers, sensitivities } = this.#parts;
    const job = answers.start(study, question);
    const wider = sensitivities.start(study, question);
    this.#halt = async () => {
      await Promise.all([stopped(answers, job), stopped(sensitivities, wider)]);
    };
    const done = { answer: 0, sensitivity: 0 };
    const follow = (which: keyof typeof done) => (fraction: number, step: string) => {
      done[which] = fraction;
      progress((done.answer + done.sensitivity) / 2, step);
    };
    try {
      const [sensitivity] = await Promise.all([
        sensitivities.result(wider, follow('sensitivity')),
        answers.result(job, follow('answer')),
      ]);
      return sensitivity;
    } catch (thrown) {
      await this.#halt();
      throw thrown;
    }
  }
}

/** A job that has been let go of meanwhile needs no stopping. */
async function stopped<Answer>(jobs: AnswerJobs<Answer>, job: string): Promise<void> {
  await jobs.stop(job).catch(() => undefined);
}

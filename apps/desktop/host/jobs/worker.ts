import { parentPort } from 'node:worker_threads';
import {
  answerPrepared,
  patientCourse,
  planning,
  prepareQuestion,
  sensitivity,
  type OutcomeAnswer,
  type OutcomeQuestionInput,
  type PreparedQuestion,
} from '@longhold/core/answers';
import type { ImportedTable } from '@longhold/core/growth';
import type { Study } from '@longhold/core/records';
import { toFailure } from '../failure';
import { Making, nothingMade } from '../pooling/making';
import { buildReport, studyFingerprint, type Report } from '../report';
import type { MakingState } from '../pooling/making-thread';
import type { PoolingValue } from '../store';
import type { ReportRequest, WorkerReply, WorkerRequest } from './messages';

/** Progress is told at most this often; more would only cost time. */
const PROGRESS_MILLISECONDS = 50;

type Progress = (fraction: number, step: string) => void;

/** The last question, with what has been found for it so far. */
interface Asked {
  readonly asked: string;
  readonly prepared: PreparedQuestion;
  answer: OutcomeAnswer | null;
}

let study: Study[number][] = [];
let tables: readonly ImportedTable[] = [];
/** Of the records as they are; null until somebody needs it. */
let fingerprint: string | null = null;
let latest: Asked | null = null;
/** The state of pooling that was sent last. */
let pooling: MakingState | null = null;
let heads = new Map<string, PoolingValue<'head'>>();
/** What was made of these records and that state; null until somebody asks. */
let making: Making | null = null;
const madeBefore = nothingMade();

parentPort?.on('message', (request: WorkerRequest) => {
  if (request.kind === 'records' || request.kind === 'more-records') {
    takeRecords(request);
    return;
  }
  if (request.kind === 'pooling' || request.kind === 'more-heads') {
    takePooling(request);
    return;
  }
  try {
    send(serve(request));
  } catch (thrown) {
    const { reason, message } = toFailure(thrown);
    send({ kind: 'failed', id: request.id, reason, message });
  }
});

function takeRecords(request: Extract<WorkerRequest, { kind: 'records' | 'more-records' }>): void {
  if (request.kind === 'records') {
    study = [];
    tables = request.tables;
  }
  study.push(...request.study);
  fingerprint = null;
  latest = null;
  making = null;
}

function takePooling(request: Extract<WorkerRequest, { kind: 'pooling' | 'more-heads' }>): void {
  making = null;
  if (request.kind === 'more-heads') {
    for (const [pseudonym, head] of request.heads) heads.set(pseudonym, head);
    return;
  }
  heads = new Map();
  pooling = { ...request.state, book: { ...request.state.book, head: heads } };
}

/** What is asked of the worker, beside what it is told. */
type Question = Exclude<WorkerRequest, { kind: 'records' | 'more-records' | 'pooling' | 'more-heads' }>;

function serve(request: Question): WorkerReply {
  if (request.kind === 'make') {
    const { kind, id, task } = request;
    return { kind, id, made: makingNow().do(task, startProgress(id, '')) };
  }
  const { kind, id, question } = request;
  switch (kind) {
    case 'course':
      return { kind, id, course: patientCourse(about(question).prepared, request.code) };
    case 'planning':
      return { kind, id, planning: planning(about(question).prepared, request.input) };
    case 'sensitivity': {
      const progress = startProgress(id);
      return { kind, id, sensitivity: sensitivity(about(question).prepared, { progress }) };
    }
    case 'answer':
      return { kind, id, answer: answerTo(question, startProgress(id)) };
    case 'report':
      return { kind, id, report: reportOn(question, request.input, startProgress(id)) };
  }
}

function makingNow(): Making {
  if (pooling === null) throw new Error('no state of pooling was sent');
  making ??= new Making({ study, ...pooling }, madeBefore);
  return making;
}

function startProgress(id: number, step = 'Reading method error and expected growth'): Progress {
  send({ kind: 'progress', id, fraction: 0, step });
  let told = 0;
  return (fraction, step) => {
    const now = Date.now();
    if (now - told < PROGRESS_MILLISECONDS) return;
    told = now;
    send({ kind: 'progress', id, fraction, step });
  };
}

/** The last question's growth fit is kept, since a patient's course usually follows the answer it belongs to. */
function about(question: OutcomeQuestionInput): Asked {
  const asked = JSON.stringify(question);
  if (latest?.asked !== asked) {
    latest = { asked, prepared: prepareQuestion(study, question, tables), answer: null };
  }
  return latest;
}

/** The last question's answer is kept, since a report usually follows it. */
function answerTo(question: OutcomeQuestionInput, progress: Progress): OutcomeAnswer {
  const asked = about(question);
  asked.answer ??= answerPrepared(asked.prepared, { progress });
  return asked.answer;
}

/** Shares of the work at which the steps of a report begin; the answer is mostly there already. */
const STEPS = { fingerprint: 0.1, building: 0.5 };

function reportOn(
  question: OutcomeQuestionInput,
  { sensitivity, version, source, pool }: ReportRequest,
  progress: Progress,
): Report {
  const answer = answerTo(question, (fraction, step) => progress(STEPS.fingerprint * fraction, step));
  progress(STEPS.fingerprint, 'Taking the fingerprint of the records');
  fingerprint ??= studyFingerprint(study, tables);
  progress(STEPS.building, 'Writing the report');
  return buildReport({ answer, sensitivity, version, fingerprint, generatedFor: source, pool });
}

function send(reply: WorkerReply): void {
  parentPort?.postMessage(reply);
}

import { parentPort } from 'node:worker_threads';
import {
  answerPrepared,
  patientCourse,
  planning,
  prepareQuestion,
  sensitivity,
  type OutcomeQuestionInput,
  type PreparedQuestion,
} from '@longhold/core/answers';
import type { ImportedTable } from '@longhold/core/growth';
import type { Study } from '@longhold/core/records';
import { toFailure } from '../failure';
import type { WorkerReply, WorkerRequest } from './messages';

/** Progress is told at most this often; more would only cost time. */
const PROGRESS_MILLISECONDS = 50;

let study: Study = [];
let tables: readonly ImportedTable[] = [];
let latest: { readonly asked: string; readonly prepared: PreparedQuestion } | null = null;

parentPort?.on('message', (request: WorkerRequest) => {
  if (request.kind === 'study') {
    study = request.study;
    tables = request.tables;
    latest = null;
    return;
  }
  try {
    serve(request);
  } catch (thrown) {
    const { reason, message } = toFailure(thrown);
    send({ kind: 'failed', id: request.id, reason, message });
  }
});

function serve(request: Exclude<WorkerRequest, { kind: 'study' }>): void {
  const { id, question } = request;
  if (request.kind === 'course') {
    send({ kind: 'course', id, course: patientCourse(prepared(question), request.code) });
    return;
  }
  if (request.kind === 'planning') {
    send({ kind: 'planning', id, planning: planning(prepared(question), request.input) });
    return;
  }
  send({ kind: 'progress', id, fraction: 0, step: 'Reading method error and expected growth' });
  let told = 0;
  const progress = (fraction: number, step: string): void => {
    const now = Date.now();
    if (now - told < PROGRESS_MILLISECONDS) return;
    told = now;
    send({ kind: 'progress', id, fraction, step });
  };
  if (request.kind === 'sensitivity') {
    send({ kind: 'sensitivity', id, sensitivity: sensitivity(prepared(question), { progress }) });
    return;
  }
  send({ kind: 'answer', id, answer: answerPrepared(prepared(question), { progress }) });
}

/** The last question's growth fit is kept, since a patient's course usually follows the answer it belongs to. */
function prepared(question: OutcomeQuestionInput): PreparedQuestion {
  const asked = JSON.stringify(question);
  if (latest?.asked !== asked) latest = { asked, prepared: prepareQuestion(study, question, tables) };
  return latest.prepared;
}

function send(reply: WorkerReply): void {
  parentPort?.postMessage(reply);
}

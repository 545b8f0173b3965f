import { parentPort } from 'node:worker_threads';
import type { ThreadReply } from './thread';

/** Answers what the service asks of this thread (`thread.ts`). Of an error only its kind is handed back. */
export function answerRequests<Request, Answer>(answer: (request: Request) => Answer): void {
  parentPort?.on('message', (request: Request) => {
    parentPort?.postMessage(reply(answer, request));
  });
}

function reply<Request, Answer>(answer: (request: Request) => Answer, request: Request): ThreadReply<Answer> {
  try {
    return { kind: 'answer', answer: answer(request) };
  } catch (thrown) {
    return { kind: 'failed', fault: thrown instanceof Error ? thrown.name : 'unknown' };
  }
}

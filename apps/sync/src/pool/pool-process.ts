/** The process that computes pooled answers for the service (`process-computer.ts`). */
import { Worker } from 'node:worker_threads';
import type { CentreInPool } from '@longhold/core/pooled';
import { centreTexts, estimatesText, poolTexts, readCentre } from './compute';
import type { ProcessReply, ProcessRequest } from './process-computer';

/** Centres of the pool that is being put together. */
let parts: CentreInPool[] = [];

process.on('message', (request: ProcessRequest) => {
  process.send?.(answer(request));
});
process.on('disconnect', () => process.exit());
// Ctrl-C reaches both: the service stops this process once it has answered what is under way.
process.on('SIGINT', () => undefined);

/**
 * A service that was killed tells nobody, and a computation hears nothing: a thread beside it looks every second whether
 * the service still lives, and ends the process where it does not.
 */
const WATCH = `
  const { workerData } = require('node:worker_threads');
  setInterval(() => {
    try {
      process.kill(workerData, 0);
      if (process.ppid === workerData) return;
    } catch {}
    process.kill(process.pid, 'SIGKILL');
  }, 1000);
`;
new Worker(WATCH, { eval: true, workerData: process.ppid }).unref();

function answer(request: ProcessRequest): ProcessReply {
  try {
    switch (request.kind) {
      case 'centre':
        return { kind: 'centre', texts: centreTexts(request.records, request.sheet, request.definition) };
      case 'estimates':
        return { kind: 'estimates', text: estimatesText(request.statistics, request.definition) };
      case 'part':
        parts.push(readCentre(request.centre, request.texts));
        return { kind: 'part' };
      case 'pool': {
        const centres = parts;
        parts = [];
        return { kind: 'pool', texts: poolTexts(centres, request.definition) };
      }
    }
  } catch (thrown) {
    return { kind: 'failed', error: thrown instanceof Error ? thrown.name : 'unknown' };
  }
}

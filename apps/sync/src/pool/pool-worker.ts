import { parentPort } from 'node:worker_threads';
import type { CentreInPool } from '@longhold/core/pooled';
import { centreTexts, estimatesText, poolTexts, readCentre } from './compute';
import type { WorkerReply, WorkerRequest } from './computer';

/** Centres of the pool that is being put together. */
let parts: CentreInPool[] = [];

parentPort?.on('message', (request: WorkerRequest) => {
  parentPort?.postMessage(answer(request));
});

function answer(request: WorkerRequest): WorkerReply {
  try {
    switch (request.kind) {
      case 'centre':
        return {
          kind: 'centre',
          texts: centreTexts(request.records, request.sheet, request.definition),
        };
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
    return { kind: 'failed', fault: thrown instanceof Error ? thrown.name : 'unknown' };
  }
}

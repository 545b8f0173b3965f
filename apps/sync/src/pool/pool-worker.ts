import type { CentreInPool } from '@longhold/core/pooled';
import { answerRequests } from '../thread/answer-requests';
import { centreTexts, estimatesText, poolTexts, readCentre } from './compute';
import type { WorkerReply, WorkerRequest } from './computer';

/** Centres of the pool that is being put together. */
let parts: CentreInPool[] = [];

answerRequests((request: WorkerRequest): WorkerReply => {
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
});

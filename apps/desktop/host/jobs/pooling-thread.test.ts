import { studyDefinitionSchema } from '@longhold/core/contribution';
import { generateDemo } from '@longhold/demo';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { makeFolder } from '../host.fixture';
import { Making, nothingMade } from '../pooling/making';
import type { MakingState } from '../pooling/making-thread';
import { emptyBook } from '../store';
import { AnswerWorker } from './answer-worker';
import { bundleWorker } from './worker.fixture';

const { study, today } = generateDemo({ seed: 4, patients: 60 });
const source = { storeName: 'invented', demo: true };
const keyed = { key: 'invented', study, tables: [], source };
const ID = '0d3c86c7-4b56-4f0e-9a43-19a5a7a4a001';
const AT = '2026-03-10T10:00:00.000Z';

/** A linked clinic that knows the study definition and has sent nothing. */
function state(key: string): MakingState {
  const book = emptyBook();
  book.link.set('link', {
    role: 'centre',
    address: 'https://pool.example.org',
    study: ID,
    member: ID,
    device: ID,
    number: 1,
    linkedAt: AT,
    token: 't'.repeat(43),
    tokenSince: AT,
    epoch: ID,
    cursor: 0,
    definition: 1,
    sends: 'statistics',
    statistics: null,
    lastSent: null,
    lastChecked: null,
    fault: null,
  });
  const definition = studyDefinitionSchema.parse({
    measures: ['Co-Gn'],
    threshold: { kind: 'share', share: 0.75 },
    rule: 'confirmed',
    reference: { kind: 'built-in-table' },
    groupBy: 'sex',
    protocols: [],
    years: [1, 2],
    smallestCell: 3,
    coarsening: { smallestGroup: 3 },
  });
  book.definition.set('1', definition);
  return { key, book, secret: 'ab'.repeat(32), today, software: '1.2.3' };
}

let folder: string;
let remove: () => void;
let workerFile: string;
let worker: AnswerWorker;

beforeAll(async () => {
  ({ folder, remove } = makeFolder());
  workerFile = await bundleWorker(folder);
});
afterEach(() => worker.stop());
afterAll(() => remove());

const nobody = (): void => undefined;

describe('What would leave, made in a thread of its own', () => {
  it('is to the last digit what is made in one go, for records and for statistics, while the host goes on', async () => {
    worker = new AnswerWorker(workerFile);
    const asked = state('one');
    const here = new Making({ study, ...asked }, nothingMade());
    let turns = 0;
    const ticking = setInterval(() => turns++, 1);
    for (const kind of ['preview', 'statistics-preview', 'statistics', 'to-confirm'] as const) {
      const made = await worker.pooling(keyed, asked, { kind }, nobody);
      expect(made).toEqual(here.do({ kind }, nobody));
      expect(JSON.stringify(made)).toContain('Co-Gn');
    }
    clearInterval(ticking);
    expect(turns).toBeGreaterThan(0);
  });

  it('is made anew where the store is another, and tells how far it is', async () => {
    worker = new AnswerWorker(workerFile);
    const steps: string[] = [];
    const asked = { kind: 'statistics-preview' } as const;
    await worker.pooling(keyed, state('one'), asked, (_fraction, step) => steps.push(step));
    expect(steps).toContain('Taking out of the records what never leaves');
    const fewer = { ...keyed, key: 'fewer', study: study.slice(10) };
    const made = await worker.pooling(fewer, state('two'), asked, nobody);
    expect(made).toEqual(
      new Making({ study: fewer.study, ...state('two') }, nothingMade()).do(asked, nobody),
    );
  });

  it('is stopped on request: who waits is told so, and the next one is made', async () => {
    worker = new AnswerWorker(workerFile);
    const waiting = worker.pooling(keyed, state('one'), { kind: 'statistics' }, nobody);
    const told = expect(waiting).rejects.toMatchObject({ reason: 'stopped' });
    await worker.stop();
    await told;
    const made = await worker.pooling(keyed, state('one'), { kind: 'preview' }, nobody);
    expect(JSON.stringify(made)).toContain('Co-Gn');
  });
});

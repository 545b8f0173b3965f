import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { pooledAnswerSchema } from '@longhold/core/exchange';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { resultsSchema, type Results } from '../../apps/desktop/host/report';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  longhold,
  poolingFolder,
  servicePrograms,
  type Desktop,
  type Ended,
  type Service,
} from '../pooling/programs';
import { DISPLAY, ELECTRON, findProgram } from './shells/on-this-machine';

// Dozens of programs are started one after the other; a busy computer takes its time over each.
vi.setConfig({ testTimeout: 400_000, hookTimeout: 400_000 });

const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
let service: Service;
let coordinator: Desktop;
let clinic: Desktop;

beforeAll(async () => {
  service = await programs.start();
  const study = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION);
  coordinator = study.coordinator;
  const clinics: Desktop[] = [];
  for (const seed of [21, 22, 23]) {
    const one = desktop(folder, `clinic ${seed}`);
    await one.bringIn(await inventedFiles(folder, `files ${seed}`, seed, 40));
    await one.link(service.address, await study.invite('centre'));
    await one.send();
    clinics.push(one);
  }
  const [first] = clinics;
  if (first === undefined) throw new Error('there is no clinic');
  clinic = first;
});
afterAll(() => service.stop());

/** Has a report written into a folder of its own. */
function report(of: Desktop, name: string, ...words: readonly string[]): Promise<Ended> {
  return longhold(['report', '--store', of.store, '--out', join(folder, name), ...words]);
}

function written(name: string): { html: string; json: string; results: Results } {
  const [html, json] = ['report.html', 'results.json'].map((file) =>
    readFileSync(join(folder, name, file), 'utf8'),
  );
  if (html === undefined || json === undefined) throw new Error('there is no report');
  return { html, json, results: resultsSchema.parse(JSON.parse(json)) };
}

/** The pooled answer that a member is shown, once it is there. */
async function pooledOf(member: Desktop) {
  for (let tries = 0; tries < 60; tries++) {
    const answer = pooledAnswerSchema.parse(await member.pool('pooled'));
    if (answer.kind === 'released') return answer;
    await pause(500);
  }
  throw new Error('no pooled answer came');
}

/** The command line prints with the same program as the tests of the window, on a screen or on a virtual one. */
const canPrint = ELECTRON !== null && (DISPLAY !== null || findProgram('xvfb-run') !== null);

describe('A report of a clinic that is linked to a study', () => {
  it('holds the pooled answer just as the service shows it to the clinic, and says where the questions part', async () => {
    const shown = await pooledOf(clinic);
    const ended = await report(clinic, 'centre');
    expect(ended).toMatchObject({ code: 0, out: expect.stringContaining('The pool of 3 centres.') });
    const { html, json, results } = written('centre');
    const { answer } = results.pool;
    expect(answer?.measure).toEqual(shown.view.measures.find(({ measure }) => measure === 'Co-Gn'));
    expect(answer).toMatchObject({ role: 'centre', release: shown.release, epoch: shown.epoch });
    expect(answer?.definition).toMatchObject({ years: [1, 2, 3], smallestCell: 3 });
    expect(answer?.differences).toEqual([]);
    expect(html).toContain('This report asks what the study group asks');
    expect(html).toContain('This clinic beside the pool');
    // Neither the address nor the token of the service is anybody's business who reads the report.
    expect(`${html}${json}`).not.toContain(service.address);
    await report(clinic, 'other question', '--threshold', '2mm');
    expect(written('other question').results.pool.answer?.differences).toMatchObject([{ part: 'threshold' }]);
  });

  it('shows the coordinator the rows of the centres, by number', async () => {
    await pooledOf(coordinator);
    expect((await report(coordinator, 'coordinator')).code).toBe(0);
    const { html, results } = written('coordinator');
    expect(results.pool.absent).toBeNull();
    expect(results.pool.answer?.measure.quantities.flatMap(({ rows }) => rows).length).toBeGreaterThan(0);
    expect(html).toMatch(/Centre [123]</);
  });

  it('says that the study group does not ask about another measure', async () => {
    expect((await report(clinic, 'other measure', '--measure', 'overjet')).code).toBe(0);
    expect(written('other measure').results.pool).toEqual({ absent: 'not-in-definition', answer: null });
  });

  it.skipIf(!canPrint)('has the chapter in print, on pages of its own', async () => {
    const pdfs = ['with.pdf', 'without.pdf'].map((name) => join(folder, name));
    const [withPool = '', without = ''] = pdfs;
    const print = (file: string, ...words: readonly string[]): Promise<Ended> =>
      longhold(['report', '--store', clinic.store, '--pdf', file, ...words]);
    expect((await print(withPool)).code).toBe(0);
    expect((await print(without, '--without-pool')).code).toBe(0);
    const pages = pdfs.map((file) => readFileSync(file, 'latin1').match(/\/Type\s*\/Page[^s]/g)?.length ?? 0);
    expect((pages[0] ?? 0) - (pages[1] ?? 0)).toBeGreaterThanOrEqual(3);
    // The checklist links to the chapter, which only works where the page has it.
    expect(readFileSync(withPool, 'latin1')).toContain('/pool');
    expect(readFileSync(without, 'latin1')).not.toContain('/pool');
  });

  it('holds nothing of the pool and asks nobody where it is to be left out', async () => {
    const requests = (): number => service.said().match(/pooled/g)?.length ?? 0;
    const before = requests();
    expect((await report(clinic, 'without', '--without-pool')).code).toBe(0);
    const { html, results } = written('without');
    expect(results.pool).toEqual({ absent: 'left-out', answer: null });
    expect(html).not.toContain('This clinic beside the pool');
    expect(requests()).toBe(before);
    await report(clinic, 'asked');
    expect(requests()).toBeGreaterThan(before);
  });

  it('says why it has no pooled answer, not linked or without a reply, and is written all the same', async () => {
    const alone = desktop(folder, 'alone');
    await alone.bringIn(await inventedFiles(folder, 'alone files', 24, 20));
    expect((await report(alone, 'alone')).code).toBe(0);
    expect(written('alone').results.pool.absent).toBe('not-linked');
    await service.stop();
    expect((await report(clinic, 'no reply')).code).toBe(0);
    expect(written('no reply').results.pool).toEqual({ absent: 'no-reply', answer: null });
    expect(existsSync(join(folder, 'no reply', 'report.html'))).toBe(true);
  });
});

import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  poolingFolder,
  servicePrograms,
  type Desktop,
  type Service,
} from '../pooling/programs';
import { recordingProxy, type RecordingProxy } from '../pooling/recording-proxy';

/** What must never leave, planted in every text field of a clinic's records. */
const CANARY = {
  code: 'KanarekKowalska',
  protocol: 'KANAREKPLATE',
  examiner: 'KanarekExaminer',
  storeName: 'kanarek clinic of dr kanarek',
} as const;
const PLANTED = /kanarek/i;

// Dozens of programs are started one after the other; a busy computer takes its time over each.
vi.setConfig({ testTimeout: 400_000, hookTimeout: 400_000 });

const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
let service: Service;
let proxy: RecordingProxy;
let clinic: Desktop;
let dates: readonly string[];
/** All that the clinic's program said while it sent, but not the previews, which are for the clinic's own eyes. */
let saidBySending = '';

beforeAll(async () => {
  service = await programs.start();
  const { invite } = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION);
  proxy = await recordingProxy(service.address);
  const files = await inventedFiles(folder, 'kanarek files', 5, 24);
  clinic = desktop(folder, CANARY.storeName);
  await clinic.bringIn(files, plant);
  dates = datesIn(files);
  await clinic.link(proxy.address, await invite('centre'));
  const { digest } = await clinic.pool('preview');
  const ended = await clinic.tryPool('send', '--confirm', String(digest));
  expect(ended.code, ended.err).toBe(0);
  saidBySending = ended.err;
  const [{ code } = { code: '' }] = sentPatients();
  await clinic.pool('withdraw', code);
});
afterAll(async () => {
  await proxy.close();
  await service.stop();
});

/** Every text field of the files that takes free text or a name. */
function plant(text: string, name: string): string {
  const named = text.replace(/^([A-Z]+-?\d+)/gm, `${CANARY.code}-$1`);
  if (name === 'measurements.csv') return named.replace(/,(E\d),/g, `,${CANARY.examiner}$1,`);
  return name === 'patients.csv' ? named.replace(/,PLATE,/g, `,${CANARY.protocol},`) : named;
}

/** Every calendar date in a clinic's files. */
function datesIn(files: string): string[] {
  const texts = readdirSync(files).map((file) => readFileSync(join(files, file), 'utf8'));
  return [...new Set(texts.join('\n').match(/\b\d{4}-\d{2}-\d{2}\b/g) ?? [])];
}

function sentPatients(): { code: string }[] {
  return readFileSync(join(folder, 'kanarek files', 'patients.csv'), 'utf8')
    .split('\n')
    .filter((line) => /,yes,yes\r?$/.test(line) && line.includes('treated'))
    .map((line) => ({ code: `${CANARY.code}-${line.split(',')[0]}` }));
}

describe('Names, codes, examiners, protocols off the list and file names planted at a clinic', () => {
  it('are where they were planted, so that the search below can fail', async () => {
    const preview = JSON.stringify(await clinic.pool('preview'));
    expect(preview).toMatch(PLANTED);
    expect(dates.length).toBeGreaterThan(100);
    expect(proxy.requests('push')).toBeGreaterThanOrEqual(2);
    expect(proxy.sent()).toContain('"pseudonym"');
    expect(proxy.sent()).toContain('"kind":"withdrawal"');
  });

  it('are in no byte that leaves, nor is any calendar date', () => {
    const sent = proxy.sent();
    expect(sent.match(PLANTED)).toBeNull();
    expect(dates.filter((date) => sent.includes(date))).toEqual([]);
    expect(sent.match(/\b(19|20)\d{2}-\d{2}-\d{2}\b/)).toBeNull();
  });

  it('are in nothing that the program says while it sends', () => {
    expect(saidBySending).toContain('stored by the service');
    expect(saidBySending.match(PLANTED)).toBeNull();
  });

  it('are in no file and no log of the service', () => {
    const files = readdirSync(folder).filter((name) => name.startsWith('pool.sqlite'));
    expect(files.length).toBeGreaterThan(0);
    for (const file of files) {
      const bytes = readFileSync(join(folder, file), 'latin1');
      expect(bytes.match(PLANTED), file).toBeNull();
      expect(
        dates.filter((date) => bytes.includes(date)),
        file,
      ).toEqual([]);
    }
    expect(service.said().match(PLANTED)).toBeNull();
  });
});

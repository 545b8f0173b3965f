import { execFile } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { DESKTOP, DISPLAY, ELECTRON, findProgram } from './shells/on-this-machine';

const PROGRAM = join(DESKTOP, 'dist', 'cli', 'longhold.cjs');

let folder: string;
let temporary: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'longhold-printed-'));
  temporary = mkdtempSync(join(tmpdir(), 'longhold-printed-tmp-'));
  await longhold(['demo', '--seed', '4', '--patients', '40', '--out', join(folder, 'records')]);
  await longhold(['import', join(folder, 'records'), '--store', join(folder, 'clinic.longhold')]);
});
afterAll(() => {
  for (const made of [folder, temporary]) rmSync(made, { recursive: true, force: true });
});

interface Ended {
  readonly code: number;
  readonly out: string;
  readonly err: string;
}

function longhold(words: readonly string[], env: Record<string, string> = {}): Promise<Ended> {
  return new Promise((resolve) => {
    const child = execFile(
      process.execPath,
      [PROGRAM, ...words],
      {
        env: { ...process.env, LONGHOLD_PASSPHRASE: 'invented passphrase', TMPDIR: temporary, ...env },
        timeout: 100_000,
      },
      (error, out, err) => {
        const code = error === null ? 0 : typeof error.code === 'number' ? error.code : -1;
        resolve({ code, out, err });
      },
    );
    child.stdin?.end();
  });
}

const report = (words: readonly string[], env?: Record<string, string>): Promise<Ended> =>
  longhold(['report', '--store', join(folder, 'clinic.longhold'), ...words], env);

/** Pages of a PDF, and the width of the first in points. */
function pagesOf(file: string): { pages: number; width: number } {
  const pdf = readFileSync(file, 'latin1');
  expect(pdf.startsWith('%PDF-')).toBe(true);
  expect(pdf.trimEnd().endsWith('%%EOF')).toBe(true);
  return {
    pages: pdf.match(/\/Type\s*\/Page[^s]/g)?.length ?? 0,
    width: Math.round(Number(/\/MediaBox \[0 0 ([\d.]+)/.exec(pdf)?.[1])),
  };
}

/** The command line prints with the same program as the tests of the window, on a screen or on a virtual one. */
const canPrint = ELECTRON !== null && (DISPLAY !== null || findProgram('xvfb-run') !== null);

describe.skipIf(!canPrint)('a report printed from the command line', () => {
  it('is a PDF of several A4 pages, beside page and numbers, and leaves nothing else behind', async () => {
    const out = join(folder, 'all');
    const ended = await report(['--out', out, '--pdf', join(out, 'report.pdf')]);
    expect(ended).toMatchObject({ code: 0, err: expect.stringContaining('report.pdf') });
    expect(readdirSync(out).sort()).toEqual(['report.html', 'report.pdf', 'results.json']);
    const { pages, width } = pagesOf(join(out, 'report.pdf'));
    expect(pages).toBeGreaterThan(5);
    expect(width).toBe(595);
    expect(readdirSync(temporary).filter((name) => name.startsWith('longhold'))).toEqual([]);
  });

  it('can be on Letter paper, by itself, in place of an earlier one', async () => {
    const pdf = join(folder, 'letter', 'report.pdf');
    await report(['--pdf', pdf]);
    const ended = await report(['--pdf', pdf, '--paper', 'Letter']);
    expect(ended.code).toBe(0);
    expect(readdirSync(join(folder, 'letter'))).toEqual(['report.pdf']);
    expect(pagesOf(pdf).width).toBe(612);
  });
});

describe('a report that cannot be printed', () => {
  it('is refused before the store is opened where there is no Electron, and nothing is written', async () => {
    const out = join(folder, 'refused');
    const words = ['--out', out, '--pdf', join(out, 'report.pdf')];
    const ended = await report(words, { ELECTRON_OVERRIDE_DIST_PATH: folder, LONGHOLD_PASSPHRASE: '' });
    expect(ended).toMatchObject({ code: 5, out: '', err: expect.stringContaining('no Electron binary') });
    expect(existsSync(out)).toBe(false);
  });

  it('leaves the earlier one as it was when the printing program fails', async () => {
    const pdf = join(folder, 'earlier.pdf');
    writeFileSync(pdf, 'earlier');
    writeFileSync(join(folder, 'electron'), '#!/bin/sh\nprintf "%%PDF-1.4 half a page"\nexit 0\n', {
      mode: 0o755,
    });
    const ended = await report(['--pdf', pdf], { ELECTRON_OVERRIDE_DIST_PATH: folder, DISPLAY: ':none' });
    expect(ended).toMatchObject({ code: 5, err: expect.stringContaining('could not print') });
    expect(readFileSync(pdf, 'utf8')).toBe('earlier');
  });

  it('is refused for a paper that is not known, and when nothing is to be written at all', async () => {
    const paper = await report(['--pdf', join(folder, 'x.pdf'), '--paper', 'A5']);
    expect(paper).toMatchObject({ code: 2, err: expect.stringContaining('A4, Letter') });
    expect(await report([])).toMatchObject({ code: 2, err: expect.stringContaining('--pdf FILE') });
    const same = await report(['--out', folder, '--pdf', join(folder, 'report.html')]);
    expect(same).toMatchObject({ code: 2, err: expect.stringContaining('another name') });
  });
});

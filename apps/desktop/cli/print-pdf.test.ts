import { chmodSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { CommandFault, EXIT } from './command-fault';
import type { Surroundings } from './find-electron';
import { findPrinter, printPdf, requirePrinter, type Printer } from './print-pdf';

const PAGE = 'print-page.cjs';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'longhold-printer-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

function put(...names: string[]): string {
  const file = join(folder, ...names);
  mkdirSync(dirname(file), { recursive: true });
  writeFileSync(file, '');
  chmodSync(file, 0o755);
  return file;
}

const onLinux = (env: Record<string, string>, userId = 1000): Surroundings => ({
  platform: 'linux',
  env: { PATH: join(folder, 'programs'), ...env },
  userId,
  electron: join(folder, 'electron'),
});

describe('the printer of a machine', () => {
  it('is Electron itself where there is a display, in its sandbox', () => {
    const electron = put('electron', 'dist', 'electron');
    const printer = findPrinter(PAGE, onLinux({ DISPLAY: ':0' }));
    expect(printer).toEqual({ program: electron, words: ['--log-level=3', PAGE] });
  });

  it('is Electron on a virtual screen where there is no display', () => {
    const electron = put('electron', 'dist', 'electron');
    const screen = put('programs', 'xvfb-run');
    expect(findPrinter(PAGE, onLinux({}))).toEqual({
      program: screen,
      words: ['--auto-servernum', electron, '--log-level=3', PAGE],
    });
  });

  it('goes without the sandbox for root on Linux only', () => {
    put('electron', 'dist', 'electron');
    expect(findPrinter(PAGE, onLinux({ DISPLAY: ':0' }, 0))).toMatchObject({
      words: expect.arrayContaining(['--no-sandbox']),
    });
    const other = put('electron', 'dist', 'Electron.app', 'Contents', 'MacOS', 'Electron');
    expect(findPrinter(PAGE, { ...onLinux({}, 0), platform: 'darwin' })).toEqual({
      program: other,
      words: ['--log-level=3', PAGE],
    });
  });

  it('is missing without Electron, or without any screen, and the reason is said', () => {
    expect(findPrinter(PAGE, onLinux({ DISPLAY: ':0' }))).toEqual({
      why: expect.stringContaining('no Electron binary'),
    });
    put('electron', 'dist', 'electron');
    expect(findPrinter(PAGE, onLinux({}))).toEqual({ why: expect.stringContaining('virtual') });
  });

  it('that is missing ends the command with a code of its own and says what to do instead', () => {
    const elsewhere = process.env['ELECTRON_OVERRIDE_DIST_PATH'];
    process.env['ELECTRON_OVERRIDE_DIST_PATH'] = folder;
    try {
      expect(faultOf(() => requirePrinter({ printFile: PAGE, electronFolder: folder }))).toEqual([
        EXIT.notPrinted,
        expect.stringContaining('print it from a browser'),
      ]);
    } finally {
      if (elsewhere === undefined) delete process.env['ELECTRON_OVERRIDE_DIST_PATH'];
      else process.env['ELECTRON_OVERRIDE_DIST_PATH'] = elsewhere;
    }
  });
});

function faultOf(work: () => unknown): [number, string] {
  try {
    work();
  } catch (thrown) {
    if (thrown instanceof CommandFault) return [thrown.exitCode, thrown.message];
  }
  throw new Error('there was no fault');
}

/** A program that does what a script says in place of Electron; the paper is its last word. */
const acting = (script: string): Printer => ({ program: process.execPath, words: ['-e', script] });

describe('a page that is printed', () => {
  it('is given to the program whole, with the name of the paper, and comes back whole', async () => {
    const echo = acting(
      'let t = ""; process.stdin.on("data", (d) => t += d).on("end", () => process.stdout.write(`%PDF-${t}${process.argv.at(-1)}\\n%%EOF\\n`));',
    );
    const page = 'x'.repeat(3_000_000);
    const pdf = Buffer.from(await printPdf(echo, page, 'Letter')).toString();
    expect(pdf).toBe(`%PDF-${page}Letter\n%%EOF\n`);
  });

  it.each([
    ['half a PDF', 'process.stdout.write("%PDF-1.4 and no end")'],
    ['something else', 'process.stdout.write("sorry\\n%%EOF\\n")'],
    ['nothing', ''],
    ['a PDF and a failure', 'process.stdout.write("%PDF-1.4\\n%%EOF\\n"); process.exitCode = 1;'],
    ['a signal', 'process.kill(process.pid, "SIGKILL")'],
  ])('is refused when the program gives %s', async (_, script) => {
    await expect(printPdf(acting(script), 'x'.repeat(1_000_000), 'A4')).rejects.toMatchObject({
      exitCode: EXIT.notPrinted,
    });
  });

  it('is refused when the program cannot be started', async () => {
    const missing = { program: join(folder, 'missing'), words: [] };
    await expect(printPdf(missing, 'page', 'A4')).rejects.toMatchObject({ exitCode: EXIT.notPrinted });
  });
});

import { spawn } from 'node:child_process';
import { accessSync, constants } from 'node:fs';
import { delimiter, join } from 'node:path';
import type { Bundle } from '../host/bundle';
import type { Paper } from '../host/report/paper';
import { CommandFault, EXIT } from './command-fault';
import { findElectron, hasDisplay, isRootOnLinux, ownSurroundings, type Surroundings } from './find-electron';

/** A program that prints: its full path and its words before the name of the paper. */
export interface Printer {
  readonly program: string;
  readonly words: readonly string[];
}

/** What is printed in a minute is far from this; what takes longer hangs. */
const PRINT_MILLISECONDS = 10 * 60_000;

const OTHERWISE =
  'Leave --pdf out, write the page with --out DIR, and print it from a browser: it is made for that.';

/** The printer of this machine. Refuses where there is none, before anything is computed. */
export function requirePrinter(bundle: Pick<Bundle, 'printFile' | 'electronFolder'>): Printer {
  const found = findPrinter(bundle.printFile, ownSurroundings(bundle.electronFolder));
  if ('program' in found) return found;
  throw new CommandFault(EXIT.notPrinted, `No PDF can be printed here, because ${found.why}. ${OTHERWISE}`);
}

/** The program that prints pages to PDF in these surroundings, or why there is none, in words. */
export function findPrinter(
  printFile: string,
  surroundings: Surroundings,
): Printer | { readonly why: string } {
  const electron = findElectron(surroundings);
  if (electron === null) return { why: 'no Electron binary is installed' };
  // Chromium's sandbox cannot be used by root. The page it does without is our own text, which runs and loads nothing.
  const sandbox = isRootOnLinux(surroundings) ? ['--no-sandbox'] : [];
  const words = ['--log-level=3', ...sandbox, printFile];
  if (hasDisplay(surroundings)) return { program: electron, words };
  const screen = findProgram('xvfb-run', surroundings.env['PATH'] ?? '');
  if (screen === null) return { why: 'there is neither a display nor a virtual one (xvfb-run)' };
  // With a key of its own, so that no other user of the machine sees the screen.
  return { program: screen, words: ['--auto-servernum', electron, ...words] };
}

/** Prints a page to PDF. What is not a whole PDF is a fault. */
export async function printPdf({ program, words }: Printer, html: string, paper: Paper): Promise<Uint8Array> {
  const pdf = await outputOf(program, [...words, paper], html);
  if (pdf !== null && isWhole(pdf)) return pdf;
  throw new CommandFault(
    EXIT.notPrinted,
    `Electron could not print the page; nothing was written. ${OTHERWISE}`,
  );
}

/** What a program writes when it is given a text; null where it fails or takes too long. */
function outputOf(program: string, words: readonly string[], input: string): Promise<Buffer | null> {
  return new Promise((resolve) => {
    const child = spawn(program, words, {
      stdio: ['pipe', 'pipe', 'ignore'],
      timeout: PRINT_MILLISECONDS,
    });
    const parts: Buffer[] = [];
    child.stdout.on('data', (part: Buffer) => parts.push(part));
    child.on('error', () => resolve(null));
    child.on('close', (code) => resolve(code === 0 ? Buffer.concat(parts) : null));
    // A program that ends without reading is a failure that shows in how it ends.
    child.stdin.on('error', () => undefined);
    child.stdin.end(input);
  });
}

/** A PDF starts and ends with marks of its own (ISO 32000-1, 7.5). */
function isWhole(pdf: Buffer): boolean {
  return (
    pdf.subarray(0, 5).toString('latin1') === '%PDF-' &&
    pdf.subarray(-16).toString('latin1').trimEnd().endsWith('%%EOF')
  );
}

function findProgram(name: string, searchPath: string): string | null {
  const places = searchPath.split(delimiter).map((folder) => join(folder, name));
  return places.find(isExecutable) ?? null;
}

function isExecutable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return true;
  } catch {
    return false;
  }
}

import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { text } from 'node:stream/consumers';
import { app } from 'electron';
import { keepPagesInPlace } from './lock-down';
import { registerPageScheme } from './page-scheme';
import { PAPERS } from '../host/report/paper';
import { printReport } from './print-report';

/**
 * Prints one page without showing it: HTML comes on the standard input, the name of the paper is the last word, and
 * the PDF goes to the standard output. Ends with 0, or with 1 where nothing was printed.
 */
registerPageScheme();
keepPagesInPlace();
app.disableHardwareAcceleration();
/* Chromium's own files lie apart from those of an open window, and are taken away again. */
const ownFolder = mkdtempSync(join(tmpdir(), 'longhold-print-'));
app.setPath('userData', ownFolder);
/* The window that printed is closed before its PDF has been passed on. */
app.on('window-all-closed', () => undefined);

app
  .whenReady()
  .then(print)
  .then(
    () => end(0),
    () => end(1),
  );

async function print(): Promise<void> {
  const paper = PAPERS.find((name) => name === process.argv[process.argv.length - 1]);
  if (paper === undefined) throw new Error('no paper was named');
  const pdf = await printReport(await text(process.stdin), paper);
  await new Promise<void>((resolve, reject) => {
    process.stdout.write(pdf, (fault) => (fault ? reject(fault) : resolve()));
  });
}

function end(code: number): void {
  rmSync(ownFolder, { recursive: true, force: true });
  app.exit(code);
}

import { BrowserWindow, session } from 'electron';
import { PAGE_ORIGIN, PAGE_SCHEME } from './page-address';
import type { Paper } from '../host/report/paper';

const MARGIN_INCHES = 0.63;

/**
 * Prints a report to PDF in a window that nobody sees: without scripts, in a session of its own that serves this one
 * text and keeps nothing. Nothing is written to disk on the way.
 */
export async function printReport(html: string, paper: Paper): Promise<Uint8Array> {
  const own = session.fromPartition(`print-${Date.now()}`);
  own.protocol.handle(
    PAGE_SCHEME,
    () => new Response(html, { headers: { 'content-type': 'text/html; charset=utf-8' } }),
  );
  own.setPermissionRequestHandler((_contents, _permission, answer) => answer(false));
  const window = new BrowserWindow({
    show: false,
    webPreferences: {
      session: own,
      sandbox: true,
      contextIsolation: true,
      nodeIntegration: false,
      javascript: false,
    },
  });
  try {
    await window.loadURL(`${PAGE_ORIGIN}/report.html`);
    return await window.webContents.printToPDF({
      pageSize: paper,
      printBackground: true,
      margins: { top: MARGIN_INCHES, bottom: MARGIN_INCHES, left: MARGIN_INCHES, right: MARGIN_INCHES },
      displayHeaderFooter: true,
      headerTemplate: '<span></span>',
      footerTemplate:
        '<div style="width:100%;font-size:8px;padding:0 16mm;text-align:right"><span class="pageNumber"></span> / <span class="totalPages"></span></div>',
    });
  } finally {
    window.destroy();
  }
}

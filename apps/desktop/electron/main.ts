import { join } from 'node:path';
import { app, BrowserWindow, dialog, ipcMain, Menu, session } from 'electron';
import type { ResultEnvelope } from '../host/envelope';
import { CALL_CHANNEL, PRINT_CHANNEL } from './bridge';
import { startHostProcess, type HostProcess } from './host-process';
import { denyPermissions, keepPagesInPlace } from './lock-down';
import { windowMenu } from './menu';
import { isOwnPage, PAGE_ORIGIN } from './page-address';
import { paperOfCountry } from '../host/report/paper';
import { printReport } from './print-report';
import { registerPageScheme, servePageScheme } from './page-scheme';

const FOREIGN: ResultEnvelope = {
  ok: false,
  error: { reason: 'invalid-input', message: 'Only Longhold’s own page may ask.' },
};

registerPageScheme();
keepPagesInPlace();

if (app.requestSingleInstanceLock()) void app.whenReady().then(start).catch(fail);
else {
  console.log('Longhold is open already; its window has been brought to the front.');
  app.quit();
}

async function start(): Promise<void> {
  const host = await startHostProcess(join(__dirname, '..', 'host', 'process.cjs'), {
    demo: process.argv.includes('--demo'),
  });
  servePageScheme(session.defaultSession, join(__dirname, '..', 'renderer'));
  denyPermissions(session.defaultSession);
  Menu.setApplicationMenu(windowMenu());
  ipcMain.handle(CALL_CHANNEL, ({ senderFrame }, envelope: unknown) =>
    isOwnPage(senderFrame) ? host.call(envelope) : FOREIGN,
  );
  ipcMain.handle(PRINT_CHANNEL, ({ senderFrame }, html: unknown) =>
    isOwnPage(senderFrame) && typeof html === 'string'
      ? printReport(html, paperOfCountry(app.getLocaleCountryCode())).catch(() => null)
      : null,
  );
  endWith(host);
  const window = openWindow();
  app.on('second-instance', () => {
    if (window.isMinimized()) window.restore();
    window.focus();
  });
}

function openWindow(): BrowserWindow {
  const window = new BrowserWindow({
    width: 1280,
    height: 800,
    minWidth: 640,
    minHeight: 480,
    show: false,
    title: 'Longhold',
    webPreferences: {
      preload: join(__dirname, 'preload.cjs'),
      sandbox: true,
      contextIsolation: true,
      nodeIntegration: false,
      webviewTag: false,
      spellcheck: false,
    },
  });
  window.once('ready-to-show', () => window.show());
  void window.loadURL(`${PAGE_ORIGIN}/index.html`);
  return window;
}

/** The store is closed before the program ends, however it is asked to end. */
function endWith(host: HostProcess): void {
  let closed = false;
  app.on('window-all-closed', () => app.quit());
  app.on('will-quit', (event) => {
    if (closed) return;
    event.preventDefault();
    void host.close().then(() => {
      closed = true;
      app.quit();
    });
  });
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, () => app.quit());
}

function fail(): void {
  dialog.showErrorBox('Longhold could not start', 'Its own server did not start. Install the program again.');
  app.exit(1);
}

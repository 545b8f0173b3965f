import { app, type Session, type WebContents } from 'electron';
import { isPageAddress } from './page-address';

/** Nothing that a page asks of the system is granted: Longhold needs no camera, place, notice or clipboard reading. */
export function denyPermissions(session: Session): void {
  session.setPermissionRequestHandler((_contents, _permission, answer) => answer(false));
  session.setPermissionCheckHandler(() => false);
}

/** Every page that is ever created stays where it is: no other address, no new window, no embedded page. */
export function keepPagesInPlace(): void {
  app.on('web-contents-created', (_event, contents) => lock(contents));
}

function lock(contents: WebContents): void {
  const stay = (event: { preventDefault: () => void }, address: string): void => {
    if (!isPageAddress(address)) event.preventDefault();
  };
  contents.on('will-navigate', (event) => stay(event, event.url));
  contents.on('will-redirect', (event) => stay(event, event.url));
  contents.on('will-attach-webview', (event) => event.preventDefault());
  contents.setWindowOpenHandler(() => ({ action: 'deny' }));
}

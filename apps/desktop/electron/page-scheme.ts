import { protocol, type Session } from 'electron';
import { SECURITY_HEADERS } from '../host/http/content-policy';
import { pageFile } from '../host/http/page-files';

/** The page is served by a scheme of its own, so that it has an origin and no file can be reached by path. */
export const PAGE_ORIGIN = 'longhold://app';

/** Must run before the app is ready. */
export function registerPageScheme(): void {
  protocol.registerSchemesAsPrivileged([
    { scheme: 'longhold', privileges: { standard: true, secure: true, supportFetchAPI: true } },
  ]);
}

/** Serves the built page to windows of this session. */
export function servePageScheme(session: Session, pageFolder: string): void {
  session.protocol.handle('longhold', async (request) => {
    const { hostname, pathname } = new URL(request.url);
    const file = request.method === 'GET' && hostname === 'app' ? await pageFile(pageFolder, pathname) : null;
    if (file === null)
      return new Response('There is nothing here.', { status: 404, headers: { ...SECURITY_HEADERS } });
    return new Response(new Uint8Array(file.content), {
      headers: { ...SECURITY_HEADERS, 'content-type': file.type },
    });
  });
}

/** Whether an address is one of the page's own: compared part by part, never by what the text contains. */
export function isPageAddress(address: string): boolean {
  try {
    const { protocol: scheme, hostname, port } = new URL(address);
    return scheme === 'longhold:' && hostname === 'app' && port === '';
  } catch {
    return false;
  }
}

import { protocol, type Session } from 'electron';
import { SECURITY_HEADERS } from '../host/http/content-policy';
import { pageFile } from '../host/http/page-files';
import { PAGE_HOST, PAGE_SCHEME } from './page-address';

/** Must run before the app is ready. */
export function registerPageScheme(): void {
  protocol.registerSchemesAsPrivileged([
    { scheme: PAGE_SCHEME, privileges: { standard: true, secure: true, supportFetchAPI: true } },
  ]);
}

/** Serves the built page to windows of this session. */
export function servePageScheme(session: Session, pageFolder: string): void {
  session.protocol.handle(PAGE_SCHEME, async (request) => {
    const { hostname, pathname } = new URL(request.url);
    const file =
      request.method === 'GET' && hostname === PAGE_HOST ? await pageFile(pageFolder, pathname) : null;
    if (file === null)
      return new Response('There is nothing here.', { status: 404, headers: { ...SECURITY_HEADERS } });
    return new Response(new Uint8Array(file.content), {
      headers: { ...SECURITY_HEADERS, 'content-type': file.type },
    });
  });
}

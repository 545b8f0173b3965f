import { createTRPCClient, httpLink } from '@trpc/client';
import type { AppRouter } from '../../host/router/router';
import { ipcLink } from './ipc-link';
import { pageSession } from './page-session';

/**
 * The host's procedures. In the desktop window calls go between processes; in a browser over HTTP, always by POST,
 * so that nothing of a record ever stands in an address.
 */
export const client = createTRPCClient<AppRouter>({
  links: [
    window.longhold === undefined
      ? httpLink({ url: '/rpc', methodOverride: 'POST', fetch: fetchInSession })
      : ipcLink(window.longhold),
  ],
});

/** The first call waits until the one-time key of the address was exchanged for a session. */
const session = window.longhold === undefined ? pageSession() : Promise.resolve();

/* tRPC may give a signal of undefined, which fetch's own type does not know. */
type CallInit = Omit<RequestInit, 'signal'> & { signal?: AbortSignal | null | undefined };

async function fetchInSession(input: RequestInfo | URL | string, init: CallInit = {}): Promise<Response> {
  await session;
  return fetch(input, { ...init, signal: init.signal ?? null, credentials: 'same-origin' });
}

import { httpLink, type TRPCLink } from '@trpc/client';
import type { AppRouter } from '../../host/router';

/** Carries calls over HTTP to the host that served this page. Only POST: what is asked stays out of addresses. */
export function hostLink(): TRPCLink<AppRouter> {
  const entered = enterSession();
  return httpLink<AppRouter>({
    url: new URL('rpc', window.location.origin).href,
    methodOverride: 'POST',
    fetch: async (address, options) => {
      await entered;
      return fetch(address, { ...options, credentials: 'same-origin', signal: options?.signal ?? null });
    },
  });
}

/**
 * Gives the one-time key of the address for a session, and takes it out of the address and the history. Whether
 * it was accepted shows in the first call: a session from before may still hold when a key has been used.
 */
async function enterSession(): Promise<void> {
  const key = /^#key=([A-Za-z0-9_-]+)$/.exec(window.location.hash)?.[1];
  if (key === undefined) return;
  window.history.replaceState(null, '', window.location.pathname);
  await fetch('/session', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ key }),
  }).catch(() => undefined);
}

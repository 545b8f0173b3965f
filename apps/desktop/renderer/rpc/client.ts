import { createTRPCClient, type TRPCClient } from '@trpc/client';
import type { AppRouter } from '../../host/router';
import { hostLink } from './host-link';
import { ipcLink } from './ipc-link';

/** A client of the host: over the desktop's bridge in its own window, over HTTP in a browser. */
export function createClient(): TRPCClient<AppRouter> {
  const bridge = window.longhold;
  return createTRPCClient<AppRouter>({ links: [bridge === undefined ? hostLink() : ipcLink(bridge)] });
}

export const client = createClient();

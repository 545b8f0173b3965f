import { TRPCClientError, type TRPCLink } from '@trpc/client';
import { observable } from '@trpc/server/observable';
import type { AppRouter } from '../../host/router/router';
import type { WindowBridge } from '../../electron/bridge';

/** Sends each call through the window's bridge to the host's own process. */
export function ipcLink(bridge: WindowBridge): TRPCLink<AppRouter> {
  return () =>
    ({ op }) =>
      observable((observer) => {
        if (op.type === 'subscription') throw new Error('the host has no subscriptions');
        bridge
          // JSON, as over HTTP: reactive proxies cannot cross between processes.
          .call({
            path: op.path,
            type: op.type,
            input: op.input === undefined ? null : JSON.stringify(op.input),
          })
          .then((result) => {
            if (!result.ok) return observer.error(refusal(result.error));
            observer.next({ result: { type: 'data', data: read(result.data) } });
            observer.complete();
          })
          .catch(() => observer.error(new TRPCClientError('The host did not answer.')));
      });
}

function refusal({ reason, message }: { reason: string; message: string }): TRPCClientError<AppRouter> {
  return TRPCClientError.from({ error: { message, code: -32600, data: { reason } } });
}

function read(data: string | null): unknown {
  return data === null ? undefined : JSON.parse(data);
}

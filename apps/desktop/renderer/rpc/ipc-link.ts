import { TRPCClientError, type TRPCLink } from '@trpc/client';
import { observable } from '@trpc/server/observable';
import type { CallEnvelope, LongholdBridge } from '../../electron/bridge';
import type { AppRouter } from '../../host/router';

declare global {
  interface Window {
    /** There only in the desktop's own window. */
    readonly longhold?: LongholdBridge;
  }
}

/** Carries calls over the desktop's bridge. */
export function ipcLink(bridge: LongholdBridge): TRPCLink<AppRouter> {
  return () =>
    ({ op }) =>
      observable((observer) => {
        if (op.type === 'subscription') {
          observer.error(new TRPCClientError('the host has no subscriptions'));
          return;
        }
        const envelope: CallEnvelope = {
          path: op.path,
          type: op.type,
          input: op.input === undefined ? null : JSON.stringify(op.input),
        };
        bridge.call(envelope).then(
          (result) => {
            if (!result.ok) return observer.error(TRPCClientError.from({ error: result.error }));
            const data: unknown = result.data === null ? undefined : JSON.parse(result.data);
            observer.next({ result: { data } });
            observer.complete();
          },
          (thrown: unknown) => observer.error(TRPCClientError.from(asError(thrown))),
        );
      });
}

function asError(thrown: unknown): Error {
  return thrown instanceof Error ? thrown : new Error('the desktop did not answer');
}

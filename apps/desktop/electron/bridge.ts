import type { CallEnvelope, ResultEnvelope } from '../host/envelope';

/** All that the page in the window can reach outside itself. */
export interface WindowBridge {
  readonly call: (envelope: CallEnvelope) => Promise<ResultEnvelope>;
}

export const CALL_CHANNEL = 'host:call';

declare global {
  interface Window {
    /** Missing in a browser. */
    readonly longhold?: WindowBridge;
  }
}

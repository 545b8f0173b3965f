import type { CallEnvelope, ResultEnvelope } from '../host/envelope';

/** All that the page in the window can reach outside itself. */
export interface WindowBridge {
  readonly call: (envelope: CallEnvelope) => Promise<ResultEnvelope>;
  /** A report as PDF; null where it could not be printed. */
  readonly print: (html: string) => Promise<Uint8Array | null>;
}

export const CALL_CHANNEL = 'host:call';
export const PRINT_CHANNEL = 'window:print';

declare global {
  interface Window {
    /** Missing in a browser. */
    readonly longhold?: WindowBridge;
  }
}

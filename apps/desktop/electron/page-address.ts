/** The page is served by a scheme of its own, so that it has an origin and no file can be reached by path. */
export const PAGE_SCHEME = 'longhold';
export const PAGE_HOST = 'app';
export const PAGE_ORIGIN = `${PAGE_SCHEME}://${PAGE_HOST}`;

/** Whether an address is one of the page's own: compared part by part, never by what the text contains. */
export function isPageAddress(address: string): boolean {
  try {
    const { protocol, hostname, port, username, password } = new URL(address);
    const plain = port === '' && username === '' && password === '';
    return protocol === `${PAGE_SCHEME}:` && hostname === PAGE_HOST && plain;
  } catch {
    return false;
  }
}

/** A frame that sent a message, as far as it matters here; Electron has none for a frame that is gone. */
export interface SendingFrame {
  readonly url: string;
  /** The frame it is embedded in. */
  readonly parent: object | null;
}

/** Whether a message came from the page itself: not from a frame in it, nor from one that has gone elsewhere. */
export function isOwnPage(frame: SendingFrame | null): boolean {
  return frame !== null && frame.parent === null && isPageAddress(frame.url);
}

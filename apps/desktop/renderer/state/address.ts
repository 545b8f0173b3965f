/** The screens a store can show, as they are written in the address. */
export const SCREENS = ['recall', 'patients', 'outcomes', 'methods', 'settings'] as const;
export type ScreenName = (typeof SCREENS)[number];

/** The three questions of Outcomes, each with a page of its own, as they are written in the address. */
export const OUTCOME_PAGES = ['kept', 'lasts', 'grown'] as const;
export type OutcomePage = (typeof OUTCOME_PAGES)[number];

/** Where the user is: everything needed to show the same screen again. */
export interface Address {
  readonly screen: ScreenName;
  /** Code of the one patient shown; null on every other screen. */
  readonly code: string | null;
  /** The question of Outcomes that is shown; the first one on every other screen. */
  readonly page: OutcomePage;
  readonly query: URLSearchParams;
}

/** Read an address from the part after `#`; anything unknown leads to Recall. */
export function parseAddress(hash: string): Address {
  const [path = '', search = ''] = splitOnce(hash.replace(/^#?\/?/, ''), '?');
  const [name = '', code] = splitOnce(path, '/');
  const screen = SCREENS.find((known) => known === name) ?? 'recall';
  return {
    screen,
    code: screen === 'patients' && code !== undefined && code !== '' ? decode(code) : null,
    page: (screen === 'outcomes' ? OUTCOME_PAGES.find((known) => known === code) : undefined) ?? 'kept',
    query: new URLSearchParams(search),
  };
}

/** Write an address, `#/outcomes/kept?measure=Co-Gn`. */
export function writeAddress(address: {
  readonly screen: ScreenName;
  readonly code?: string | null;
  readonly page?: OutcomePage;
  readonly query?: URLSearchParams;
}): string {
  const part = address.screen === 'outcomes' ? (address.page ?? 'kept') : address.code;
  const code = part === undefined || part === null ? '' : `/${encodeURIComponent(part)}`;
  const search = address.query?.toString() ?? '';
  return `#/${address.screen}${code}${search === '' ? '' : `?${search}`}`;
}

/** A query with the given values. */
export function queryOf(values: Readonly<Record<string, string>>): URLSearchParams {
  return new URLSearchParams(values);
}

/** A query with some values changed; null or empty takes a value away. */
export function changeQuery(
  query: URLSearchParams,
  changes: Readonly<Record<string, string | null>>,
): URLSearchParams {
  const next = new URLSearchParams(query);
  for (const [name, value] of Object.entries(changes)) {
    if (value === null || value === '') next.delete(name);
    else next.set(name, value);
  }
  return next;
}

function splitOnce(text: string, separator: string): string[] {
  const at = text.indexOf(separator);
  return at < 0 ? [text] : [text.slice(0, at), text.slice(at + separator.length)];
}

function decode(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

/** The screens a store can show, as they are written in the address. */
export const SCREENS = ['recall', 'patients', 'outcomes', 'pooling', 'methods', 'settings'] as const;
export type ScreenName = (typeof SCREENS)[number];

/** The three questions of Outcomes, each with a page of its own, as they are written in the address. */
export const OUTCOME_PAGES = ['kept', 'lasts', 'grown'] as const;
export type OutcomePage = (typeof OUTCOME_PAGES)[number];

/** The parts of Pooling, as they are written in the address. */
export const POOLING_PARTS = ['contribution', 'sent', 'answer', 'study', 'members'] as const;
export type PoolingPart = (typeof POOLING_PARTS)[number];

/** Where the user is: everything needed to show the same screen again. */
export interface Address {
  readonly screen: ScreenName;
  /** Code of the one patient shown; null on every other screen. */
  readonly code: string | null;
  /** The question of Outcomes that is shown; the first one on every other screen. */
  readonly page: OutcomePage;
  /** The part of Pooling that is shown; null on every other screen, and where none is named. */
  readonly part: PoolingPart | null;
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
    part: (screen === 'pooling' ? POOLING_PARTS.find((known) => known === code) : undefined) ?? null,
    query: new URLSearchParams(search),
  };
}

/** Write an address, `#/outcomes/kept?measure=Co-Gn`. */
export function writeAddress(address: {
  readonly screen: ScreenName;
  readonly code?: string | null;
  readonly page?: OutcomePage;
  readonly part?: PoolingPart | null;
  readonly query?: URLSearchParams;
}): string {
  const within = placeWithin(address);
  const code = within === null ? '' : `/${encodeURIComponent(within)}`;
  const search = address.query?.toString() ?? '';
  return `#/${address.screen}${code}${search === '' ? '' : `?${search}`}`;
}

function placeWithin({ screen, code, page, part }: Partial<Address>): string | null {
  if (screen === 'outcomes') return page ?? 'kept';
  return (screen === 'pooling' ? part : code) ?? null;
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

/** The files an import may consist of, by the part of the import they hold. */
export const IMPORT_PARTS = ['patients', 'measurements', 'events'] as const;
export type ImportPart = (typeof IMPORT_PARTS)[number];

/** What one row of each file is. */
export const ROW_WORDS: Readonly<Record<ImportPart, string>> = {
  patients: 'one row for each patient or untreated child',
  measurements: 'one row for each reading of a measure',
  events: 'one row for each event, such as moved away',
};

/** A chosen file, read. A text of null could not be read as UTF-8. */
export interface ChosenFile {
  readonly name: string;
  readonly text: string | null;
}

export type ChosenFiles = Readonly<Record<ImportPart, ChosenFile | null>>;

export const NO_FILES: ChosenFiles = { patients: null, measurements: null, events: null };

/** Which part a dropped file holds, by its name; null when the name says nothing. */
export function partOfFile(name: string): ImportPart | null {
  const found = IMPORT_PARTS.filter((part) => name.toLowerCase().includes(part));
  return found.length === 1 ? (found[0] ?? null) : null;
}

/** Decode a file's bytes strictly, so that a wrong encoding is found here and not as odd letters later. */
export function decodeUtf8(bytes: ArrayBuffer): string | null {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    return null;
  }
}

/** The files an import may consist of, by the part of the import they hold. */
export const IMPORT_PARTS = ['patients', 'measurements', 'events', 'growthTables'] as const;
export type ImportPart = (typeof IMPORT_PARTS)[number];

/** What each file is called. */
export const FILE_NAMES: Readonly<Record<ImportPart, string>> = {
  patients: 'patients.csv',
  measurements: 'measurements.csv',
  events: 'events.csv',
  growthTables: 'growth-table.csv',
};

/** The word by which the name of a dropped file tells what it holds. */
const TELLING_WORDS: Readonly<Record<ImportPart, string>> = {
  patients: 'patients',
  measurements: 'measurements',
  events: 'events',
  growthTables: 'growth',
};

/** What one row of each file is. */
export const ROW_WORDS: Readonly<Record<ImportPart, string>> = {
  patients: 'one row for each patient or untreated child',
  measurements: 'one row for each reading of a measure',
  events: 'one row for each event, such as moved away',
  growthTables: 'one row for each mean of a table of expected growth',
};

/** A chosen file, read. A text of null could not be read as UTF-8. */
export interface ChosenFile {
  readonly name: string;
  readonly text: string | null;
}

export type ChosenFiles = Readonly<Record<ImportPart, ChosenFile | null>>;

export const NO_FILES: ChosenFiles = { patients: null, measurements: null, events: null, growthTables: null };

/** Which part a dropped file holds, by its name; null when the name says nothing. */
export function partOfFile(name: string): ImportPart | null {
  const found = IMPORT_PARTS.filter((part) => name.toLowerCase().includes(TELLING_WORDS[part]));
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

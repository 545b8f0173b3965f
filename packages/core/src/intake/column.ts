import type { z } from 'zod';
import { nearestWord } from '../text/nearest-word';
import type { FaultKind } from './faults';

/** Why a cell could not be understood. Explained lazily: most faults of a hopeless file are only counted. */
export interface Misread {
  readonly ok: false;
  readonly kind: FaultKind;
  readonly explain: () => { readonly message: string; readonly allowed?: string };
}
export type CellReading<T> = { readonly ok: true; readonly value: T } | Misread;

/** What one column of an import file is called, holds and means, and how a cell of it is understood. */
export interface Column<T> {
  readonly name: string;
  /**
   * `either`: the file needs at least one of its columns so marked, and each row a value in one of them.
   * `optional`: a file without the column reads as one in which all its cells are empty.
   */
  readonly presence: 'required' | 'either' | 'optional';
  /** What an empty cell stands for; null when a cell may not be empty. */
  readonly whenEmpty: { readonly value: T } | null;
  /** The closed list of words, in the order of their definition; empty where the column has none. */
  readonly words: readonly string[];
  /** What a cell may hold, as a phrase. */
  readonly allowed: string;
  readonly meaning: string;
  /** Understands a cell that is trimmed and not empty. */
  readonly read: (text: string) => CellReading<T>;
}

/** A column of closed words, taken from an enumeration of the records. */
export function wordColumn<Word extends string>(
  name: string,
  schema: { readonly options: readonly Word[] },
  meaning: string,
): Column<Word> {
  const words = schema.options;
  return {
    name,
    presence: 'required',
    whenEmpty: null,
    words,
    allowed: words.join(', '),
    meaning,
    read: (text) => {
      const word = words.find((candidate) => candidate === text);
      return word === undefined ? unknownWord(text, words) : { ok: true, value: word };
    },
  };
}

/** A column of text that must have the form its schema asks for; the schema's own message is the phrase. */
export function textColumn(name: string, schema: z.ZodType<string>, meaning: string): Column<string> {
  return {
    name,
    presence: 'required',
    whenEmpty: null,
    words: [],
    allowed: firstComplaint(schema, '\n') ?? '',
    meaning,
    read: (text) => {
      const complaint = firstComplaint(schema, text);
      if (complaint === null) return { ok: true, value: text };
      return misread('wrong-form', `this is not ${complaint}`);
    },
  };
}

/** The same column with empty cells allowed, standing for `value`. */
export function orEmpty<T, Empty>(column: Column<T>, value: Empty): Column<T | Empty> {
  return { ...column, whenEmpty: { value }, allowed: `${column.allowed}, or empty` };
}

/** The same column for files that may lack it; its cells may be empty, standing for `value`. */
export function optional<T, Empty>(column: Column<T>, value: Empty): Column<T | Empty> {
  return { ...orEmpty(column, value), presence: 'optional' };
}

/** A reading that failed, with its explanation ready. */
export function misread(kind: FaultKind, message: string, allowed?: string): Misread {
  return { ok: false, kind, explain: () => (allowed === undefined ? { message } : { message, allowed }) };
}

/** What a schema says against a text, or null when it accepts it. */
function firstComplaint(schema: z.ZodType<string>, text: string): string | null {
  const outcome = schema.safeParse(text);
  return outcome.success ? null : (outcome.error.issues[0]?.message ?? '');
}

function unknownWord(text: string, words: readonly string[]): Misread {
  return {
    ok: false,
    kind: 'unknown-word',
    explain: () => ({ message: `this is not a word of this column${suggestion(text, words)}` }),
  };
}

/** The end of a message that names the nearest word; empty when none is near. */
export function suggestion(text: string, words: readonly string[]): string {
  const near = nearestWord(text, words);
  return near === null ? '' : `; the nearest is ${near}`;
}

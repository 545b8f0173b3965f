import { failureOf, type Failure } from '../state/failure';
import type { ImportResult, ImportTexts } from '../state/host';
import {
  decodeUtf8,
  IMPORT_PARTS,
  NO_FILES,
  partOfFile,
  type ChosenFiles,
  type ImportPart,
} from './import-files';

/** The host's calls for an import. */
export interface ImportCalls {
  readonly preview: (texts: ImportTexts) => Promise<ImportResult>;
  readonly write: (texts: ImportTexts) => Promise<ImportResult>;
}

/** A file as the browser hands it over. */
export type GivenFile = Pick<File, 'name' | 'arrayBuffer'>;

/** An import on its way: files chosen, tried without writing, then written. */
export class ImportState {
  #calls: ImportCalls;
  #files = $state.raw<ChosenFiles>(NO_FILES);
  #unknown = $state.raw<readonly string[]>([]);
  #result = $state.raw<ImportResult | null>(null);
  #failure = $state.raw<Failure | null>(null);
  #busy = $state<'reading' | 'writing' | null>(null);
  #turn = 0;

  constructor(calls: ImportCalls) {
    this.#calls = calls;
  }

  get files(): ChosenFiles {
    return this.#files;
  }

  /** Names of files whose part could not be told. */
  get unknown(): readonly string[] {
    return this.#unknown;
  }

  get result(): ImportResult | null {
    return this.#result;
  }

  get failure(): Failure | null {
    return this.#failure;
  }

  get busy(): 'reading' | 'writing' | null {
    return this.#busy;
  }

  /** Files that are not UTF-8 text. */
  get unreadable(): readonly string[] {
    return IMPORT_PARTS.flatMap((part) => {
      const file = this.#files[part];
      return file !== null && file.text === null ? [file.name] : [];
    });
  }

  /** Take files whose part their name tells, and try them. */
  async takeDropped(given: readonly GivenFile[]): Promise<void> {
    this.#unknown = given.filter(({ name }) => partOfFile(name) === null).map(({ name }) => name);
    const known = given.flatMap((file) => {
      const part = partOfFile(file.name);
      return part === null ? [] : [{ part, file }];
    });
    for (const { part, file } of known) await this.#read(part, file);
    if (known.length > 0) await this.#preview();
  }

  /** Take one file for one part (or take it away), and try them all. */
  async take(part: ImportPart, file: GivenFile | null): Promise<void> {
    if (file === null) this.#files = { ...this.#files, [part]: null };
    else await this.#read(part, file);
    await this.#preview();
  }

  /** Write what was tried. Returns whether it was written. */
  async apply(): Promise<boolean> {
    this.#busy = 'writing';
    await this.#run((texts) => this.#calls.write(texts));
    return this.#result?.applied === true;
  }

  /** Start over. */
  clear(): void {
    this.#turn += 1;
    this.#files = NO_FILES;
    this.#unknown = [];
    this.#result = null;
    this.#failure = null;
    this.#busy = null;
  }

  async #read(part: ImportPart, file: GivenFile): Promise<void> {
    const text = decodeUtf8(await file.arrayBuffer());
    this.#files = { ...this.#files, [part]: { name: file.name, text } };
  }

  async #preview(): Promise<void> {
    this.#result = null;
    if (IMPORT_PARTS.every((part) => this.#files[part] === null) || this.unreadable.length > 0) return;
    this.#busy = 'reading';
    await this.#run((texts) => this.#calls.preview(texts));
  }

  async #run(call: (texts: ImportTexts) => Promise<ImportResult>): Promise<void> {
    const turn = (this.#turn += 1);
    this.#failure = null;
    const { patients, measurements, events, growthTables } = this.#files;
    const texts = {
      patients: patients?.text ?? null,
      measurements: measurements?.text ?? null,
      events: events?.text ?? null,
      growthTables: growthTables?.text ?? null,
    };
    try {
      const result = await call(texts);
      if (turn === this.#turn) this.#result = result;
    } catch (error) {
      if (turn === this.#turn) this.#failure = failureOf(error);
    } finally {
      if (turn === this.#turn) this.#busy = null;
    }
  }
}

import { createHash, randomUUID, type Hash } from 'node:crypto';
import { createReadStream, existsSync, openSync, fsyncSync, closeSync } from 'node:fs';
import { open, rename, rm } from 'node:fs/promises';
import { createInterface } from 'node:readline';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { createGunzip, createGzip } from 'node:zlib';
import { dirname } from 'node:path';
import { z } from 'zod';
import { noteAct } from '../study/audit';
import {
  STORED_TABLES,
  type StoredRow,
  type StoredTable,
  type StudyReader,
  type StudyWriter,
  type SyncStore,
} from '../store/sync-store';
import { UsageError } from './options';

/*
 * A backup is a gzip of lines of JSON: a head with the study, then rows, each with its table, and a last line with the
 * number of lines before it and their SHA-256. It is the same for both kinds of store, so a study can move between them.
 */

/** 2: members have numbers. 3: members may have been taken out. */
const FORMAT = 3;
const PAGE = 1_000;
const TABLES = Object.keys(STORED_TABLES).filter(isTable);

const headSchema = z.strictObject({
  format: z.literal(FORMAT),
  study: z.strictObject({ id: z.string(), epoch: z.string(), sequence: z.int().min(0) }),
});
const rowSchema = z.tuple([
  z.string().refine(isTable, 'a table of the store'),
  z.array(z.union([z.string(), z.number(), z.null()])),
]);
const endSchema = z.strictObject({ lines: z.int().min(1), digest: z.string() });

function isTable(name: string): name is StoredTable {
  return Object.hasOwn(STORED_TABLES, name);
}

/**
 * Writes a backup, seen at one moment while the service goes on. The file appears under its name once it is whole and on
 * the disk. @throws UsageError where the file exists.
 */
export async function backUp(store: SyncStore, path: string): Promise<void> {
  if (existsSync(path)) throw new UsageError(`There is already a file at ${path}. Nothing was overwritten.`);
  const unfinished = `${path}.unfinished`;
  try {
    await store.read(async (reader) => {
      const file = await open(unfinished, 'w', 0o600);
      await pipeline(Readable.from(linesOf(reader)), createGzip(), file.createWriteStream({ flush: true }));
    });
    await rename(unfinished, path);
    syncFolder(dirname(path));
  } catch (thrown) {
    await rm(unfinished, { force: true });
    throw thrown;
  }
}

/** A new name is on the disk once its folder is. */
function syncFolder(path: string): void {
  const folder = openSync(path, 'r');
  fsyncSync(folder);
  closeSync(folder);
}

async function* linesOf(reader: StudyReader): AsyncGenerator<string> {
  const sum = new LineSum();
  yield sum.add(JSON.stringify({ format: FORMAT, study: await reader.study() }));
  for (const table of TABLES) {
    for (let from = 0; ; from += PAGE) {
      const rows = await reader.dump(table, from, PAGE);
      for (const row of rows) yield sum.add(JSON.stringify([table, row]));
      if (rows.length < PAGE) break;
    }
  }
  yield `${JSON.stringify(sum.end())}\n`;
}

/** Counts lines and takes their digest. */
class LineSum {
  readonly #hash: Hash = createHash('sha256');
  #lines = 0;

  add(line: string): string {
    const text = `${line}\n`;
    this.#hash.update(text, 'utf8');
    this.#lines++;
    return text;
  }

  end(): { readonly lines: number; readonly digest: string } {
    return { lines: this.#lines, digest: this.#hash.digest('hex') };
  }
}

/**
 * Restores a backup into a store that holds nothing yet, in one transaction: all of it or nothing. The study gets a new
 * epoch, so that every clinic repeats what the backup may not have had, its withdrawals above all.
 * @throws UsageError where the file is not a whole backup or the store is in use.
 */
export async function restore(store: SyncStore, path: string, now: () => Date): Promise<void> {
  await checkBackup(path);
  await store.write(async (writer) => {
    if ((await writer.members()).length > 0) {
      throw new UsageError('This store holds a study already. Restore into a new one.');
    }
    await loadBackup(writer, path);
    // Whoever withdrew after the backup must not be shown again: each centre is waited for, and no old answer is shown.
    await writer.markUnheard();
    await writer.dropViewsExcept([]);
    await noteAct(writer, { at: now(), device: null, action: 'restored' });
  });
}

async function checkBackup(path: string): Promise<void> {
  const sum = new LineSum();
  let last: string | null = null;
  for await (const line of backupLines(path)) {
    if (last !== null) sum.add(last);
    last = line;
  }
  const end = endSchema.safeParse(readJson(last));
  const { lines, digest } = sum.end();
  if (!end.success || end.data.lines !== lines || end.data.digest !== digest) {
    throw new UsageError(`${path} is not a whole backup: it is cut short or was changed.`);
  }
}

async function loadBackup(writer: StudyWriter, path: string): Promise<void> {
  let table: StoredTable | null = null;
  let rows: StoredRow[] = [];
  const flush = async (): Promise<void> => {
    if (table !== null && rows.length > 0) await writer.load(table, rows);
    rows = [];
  };
  let first = true;
  for await (const line of backupLines(path)) {
    const content = readJson(line);
    if (first) {
      const head = headSchema.safeParse(content);
      if (!head.success) {
        throw new UsageError(
          `${path} was made by another version of the service. Restore it with that version, then start this one on the store.`,
        );
      }
      await writer.adoptStudy({ ...head.data.study, epoch: randomUUID() });
      first = false;
      continue;
    }
    if (endSchema.safeParse(content).success) continue;
    const [of, row] = rowSchema.parse(content);
    if (of !== table || rows.length === PAGE) await flush();
    table = of;
    rows.push(row);
  }
  await flush();
}

async function* backupLines(path: string): AsyncGenerator<string> {
  if (!existsSync(path)) throw new UsageError(`There is no file at ${path}.`);
  try {
    const unpacked = createReadStream(path).pipe(createGunzip());
    for await (const line of createInterface({ input: unpacked, crlfDelay: Infinity })) yield line;
  } catch {
    throw new UsageError(`${path} is not a whole backup: it cannot be unpacked.`);
  }
}

function readJson(text: string | null): unknown {
  try {
    return JSON.parse(text ?? '');
  } catch {
    return null;
  }
}

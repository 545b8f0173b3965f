import { cpSync, readFileSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createRandom } from '@longhold/core/numeric';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { createStore } from './create-store';
import { StoreError } from './errors';
import { openStore } from './open-store';
import {
  contentsOf,
  importOf,
  inventedStudy,
  MIGRATIONS_FOLDER,
  PASSPHRASE,
  storeOptions,
  temporaryFolder,
} from './store.fixture';
import { safetyCopyPath } from './upgrade';

const STUDY = inventedStudy(30, 11);
const PAGE_BYTES = 4096;

let folder = '';
let path = '';

beforeEach(async () => {
  folder = temporaryFolder(afterAll);
  path = join(folder, 'clinic.longhold');
  const store = await createStore(storeOptions(path));
  await store.applyImport(importOf([], STUDY));
  await store.close();
});

async function refusal(attempt: Promise<unknown>): Promise<StoreError> {
  const error: unknown = await attempt.then(
    () => null,
    (thrown: unknown) => thrown,
  );
  if (!(error instanceof StoreError)) throw new Error(`not refused with a StoreError: ${String(error)}`);
  return error;
}

/** Tries to open what must not open; it must leave all files as they were, and no others. */
async function refusedUntouched(options = storeOptions(path)): Promise<StoreError> {
  const before = contentsOf(folder);
  const error = await refusal(openStore(options));
  expect(contentsOf(folder)).toEqual(before);
  expect(error.message).toContain(error.path);
  return error;
}

function flipBit(file: string, position: number): void {
  const bytes = readFileSync(file);
  bytes[position] = (bytes[position] ?? 0) ^ 1;
  writeFileSync(file, bytes);
}

describe('Opening a store leaves the files untouched and says what is wrong when', () => {
  it('the passphrase is wrong', async () => {
    for (const passphrase of ['', 'seven calm heron', 'Seven calm herons', `${PASSPHRASE} `]) {
      expect((await refusedUntouched({ ...storeOptions(path), passphrase })).code).toBe('wrong-passphrase');
    }
  });

  it('there is no store, no folder, or no key file', async () => {
    const options = storeOptions(join(folder, 'other.longhold'));
    expect((await refusedUntouched(options)).code).toBe('store-missing');
    const nowhere = storeOptions(join(folder, 'no', 'clinic.longhold'));
    expect((await refusedUntouched(nowhere)).code).toBe('store-folder-missing');
    rmSync(`${path}.key`);
    expect((await refusedUntouched()).code).toBe('key-file-missing');
  });

  it('the file is empty, cut short, or something else altogether', async () => {
    const whole = readFileSync(path);
    for (const size of [0, 1, 15, 16, 100, 4095, 4096, 8192, whole.length - PAGE_BYTES, whole.length - 1]) {
      writeFileSync(path, whole);
      truncateSync(path, size);
      expect((await refusedUntouched()).code, `cut to ${size} bytes`).toBe('store-damaged');
    }
    writeFileSync(path, 'patients;visits\n'.repeat(2000));
    expect((await refusedUntouched()).code).toBe('store-damaged');
    writeFileSync(path, Buffer.concat([Buffer.from('SQLite format 3\0'), Buffer.alloc(20_000)]));
    expect((await refusedUntouched()).code).toBe('store-damaged');
  });

  it('the key file belongs to another store', async () => {
    const other = await createStore(storeOptions(join(folder, 'other.longhold')));
    await other.close();
    cpSync(`${join(folder, 'other.longhold')}.key`, `${path}.key`);
    const error = await refusedUntouched();
    expect(error.code).toBe('store-damaged');
    expect(error.message).toContain('belongs to another store');
  });

  it('a newer version of the program wrote it', async () => {
    const newer = folderWithMigration('ALTER TABLE `patients` ADD `shoe_size` integer;');
    await (await openStore({ ...storeOptions(path), migrationsFolder: newer })).close();
    expect((await refusedUntouched()).code).toBe('store-newer');
  });
});

describe('Damage inside the file', () => {
  // One flipped bit garbles a block of 16 bytes, or more, of one page; the cipher itself would not notice.
  it('is noticed on every page, or has hit unused space and changed nothing', async () => {
    const whole = readFileSync(path);
    const random = createRandom(1211);
    let noticed = 0;
    const pages = whole.length / PAGE_BYTES;
    for (let page = 0; page < pages; page++) {
      writeFileSync(path, whole);
      flipBit(path, page * PAGE_BYTES + random.integer(PAGE_BYTES));
      const outcome = await openAndReadEverything();
      if (outcome instanceof StoreError) {
        expect(outcome.code).toBe('store-damaged');
        noticed++;
      } else {
        expect(outcome).toEqual(STUDY);
      }
    }
    expect(noticed).toBeGreaterThan(pages / 3);
  });

  async function openAndReadEverything(): Promise<unknown> {
    try {
      const store = await openStore(storeOptions(path));
      try {
        await store.verify();
        return await store.readStudy();
      } finally {
        await store.close();
      }
    } catch (thrown) {
      return thrown;
    }
  }
});

describe('Bringing a store to a newer form', () => {
  it('keeps the records and leaves no copy behind', async () => {
    const newer = folderWithMigration('ALTER TABLE `settings` ADD `note` text;');
    const store = await openStore({ ...storeOptions(path), migrationsFolder: newer });
    expect(await store.readStudy()).toEqual(STUDY);
    await store.close();
    expect(Object.keys(contentsOf(folder)).sort()).toEqual(['clinic.longhold', 'clinic.longhold.key']);
  });

  it('changes nothing when it fails half-way, and keeps an encrypted copy that opens', async () => {
    const broken = folderWithMigration(
      'ALTER TABLE `settings` ADD `note` text;\n--> statement-breakpoint\nDROP TABLE `no_such_table`;',
    );
    const error = await refusal(openStore({ ...storeOptions(path), migrationsFolder: broken }));
    expect(error.code).toBe('migration-failed');
    expect(error.message).not.toMatch(/DROP|ALTER/);
    const copy = safetyCopyPath(path);
    expect(readFileSync(copy).includes('Co-Gn')).toBe(false);
    cpSync(`${path}.key`, `${copy}.key`);
    for (const file of [path, copy]) {
      const store = await openStore(storeOptions(file));
      expect(await store.readStudy()).toEqual(STUDY);
      await store.close();
    }
  });
});

function folderWithMigration(statements: string): string {
  const target = join(folder, 'newer');
  cpSync(MIGRATIONS_FOLDER, target, { recursive: true });
  const journalFile = join(target, 'meta', '_journal.json');
  const journal = JSON.parse(readFileSync(journalFile, 'utf8')) as { entries: object[] };
  const idx = journal.entries.length;
  journal.entries.push({
    idx,
    version: '6',
    when: Date.UTC(2100, 0, 1),
    tag: '9999_later',
    breakpoints: true,
  });
  writeFileSync(journalFile, JSON.stringify(journal));
  writeFileSync(join(target, '9999_later.sql'), statements);
  return target;
}

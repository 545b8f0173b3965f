import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, rmSync, statfsSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createStore, openStore, type Store } from '@longhold/desktop/host/store';
import {
  contentsOf,
  importOf,
  inventedStudy,
  MIGRATIONS_FOLDER,
  storeOptions,
  temporaryFolder,
} from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { bundlePrograms, type ChildPrograms } from './child-programs';
import { importNumber, studyAfter } from './programs/growing-study';

const folder = temporaryFolder(afterAll);

describe('Where no file may grow beyond a limit', () => {
  let programs: ChildPrograms;
  beforeAll(async () => {
    programs = await bundlePrograms(['import-until-stopped']);
  });
  afterAll(() => programs.remove());

  it('an import is refused as disk-full, and the store holds all that was acknowledged and no more', async () => {
    let refused = 0;
    for (let blocks = 8; blocks <= 2_000; blocks = Math.ceil(blocks * 1.5)) {
      const path = join(folder, `limit ${blocks}.longhold`);
      await (await createStore(storeOptions(path))).close();
      const program = programs.start('import-until-stopped', [path, MIGRATIONS_FOLDER, '6'], {
        fileSizeLimit: blocks,
      });
      const { output, errors } = await program.ended;
      expect(errors).toBe('');
      const acknowledged = output.match(/^acknowledged/gm)?.length ?? 0;
      if (acknowledged < 6) {
        expect(output, `limit of ${blocks} blocks`).toMatch(/^refused disk-full$/m);
        refused++;
      }
      await expectImports(path, acknowledged);
    }
    expect(refused).toBeGreaterThan(5);
  });
});

const disk = join(folder, 'disk');
const DISK_KIBIBYTES = 8192;

/** A small disk of its own can only be had by an administrator. */
function mountSmallDisk(): boolean {
  mkdirSync(disk, { recursive: true });
  try {
    const options = ['-t', 'tmpfs', '-o', `size=${DISK_KIBIBYTES}k`, 'tmpfs', disk];
    execFileSync('mount', options, { stdio: 'ignore' });
    return true;
  } catch {
    return false;
  }
}

const mounted = mountSmallDisk();
afterAll(() => {
  if (mounted) execFileSync('umount', ['-l', disk]);
});

describe.skipIf(!mounted)('On a full disk', () => {
  const ballast = join(disk, 'ballast');
  const WHOLE = ['new.longhold', 'new.longhold.key'];
  beforeEach(() => {
    for (const name of readdirSync(disk)) rmSync(join(disk, name));
  });

  /** Fills the disk until the given number of pages of 4096 bytes is free. */
  function leaveFree(pages: number): void {
    rmSync(ballast, { force: true });
    const { bavail, bsize } = statfsSync(disk);
    writeFileSync(ballast, Buffer.alloc(Math.max(0, bavail * bsize - pages * 4096)));
  }

  it('an import at every single number of free pages is kept whole or refused whole, and the store stays usable', async () => {
    const path = join(disk, 'clinic.longhold');
    let store: Store = await createStore(storeOptions(path));
    const refusedAt: number[] = [];
    let imports = 0;
    for (let pages = 0; imports < 2 && pages < 120; pages++) {
      const { from, to } = importNumber(imports + 1);
      leaveFree(pages);
      const outcome = await store.applyImport(importOf(from, to)).then(
        () => 'kept',
        (thrown: unknown) => String(Reflect.get(Object(thrown), 'code')),
      );
      expect(['kept', 'disk-full']).toContain(outcome);
      if (outcome === 'kept') imports++;
      else refusedAt.push(pages);
      expect(await store.readStudy()).toEqual(studyAfter(imports));
      if (pages % 5 === 0) {
        await store.close();
        rmSync(ballast, { force: true });
        store = await openStore(storeOptions(path));
        await store.verify();
      }
    }
    expect(imports).toBe(2);
    expect(refusedAt.length).toBeGreaterThan(5);
    rmSync(ballast, { force: true });
    const { from, to } = importNumber(imports + 1);
    await store.applyImport(importOf(from, to));
    await store.close();
    await expectImports(path, imports + 1);
  });

  it('creating a store leaves a whole store or nothing, never a part of one', async () => {
    const outcomes = new Set<string>();
    for (let pages = 0; pages < 30; pages++) {
      leaveFree(pages);
      const path = join(disk, 'new.longhold');
      const outcome = await createStore(storeOptions(path)).then(
        async (store) => {
          await store.close();
          return 'created';
        },
        (thrown: unknown) => String(Reflect.get(Object(thrown), 'code')),
      );
      outcomes.add(outcome);
      const left = readdirSync(disk)
        .filter((name) => name !== 'ballast')
        .sort();
      if (outcome === 'created') expect(left).toEqual(WHOLE);
      // Room for the store but not for its log: the store was made, then refused to open; an empty log may stay.
      if (left.length > 0) {
        expect(left.filter((name) => !/-(wal|shm)$/.test(name))).toEqual(WHOLE);
        rmSync(ballast, { force: true });
        await (await openStore(storeOptions(path))).close();
        for (const name of readdirSync(disk)) rmSync(join(disk, name));
      }
    }
    expect(outcomes).toEqual(new Set(['created', 'disk-full']));
  });

  it('a store without any free space can still be opened and read', async () => {
    const path = join(disk, 'read.longhold');
    rmSync(ballast, { force: true });
    const study = inventedStudy(10, 5);
    const store = await createStore(storeOptions(path));
    await store.applyImport(importOf([], study));
    await store.close();
    leaveFree(0);
    const before = contentsOf(disk);
    const attempt = await openStore(storeOptions(path)).then(
      async (full) => {
        expect(await full.readStudy()).toEqual(study);
        await full.close();
        return 'opened';
      },
      (thrown: unknown) => String(Reflect.get(Object(thrown), 'code')),
    );
    if (attempt !== 'opened') {
      expect(attempt).toBe('disk-full');
      expect(contentsOf(disk)).toEqual(before);
    }
    rmSync(ballast, { force: true });
    const again = await openStore(storeOptions(path));
    expect(await again.readStudy()).toEqual(study);
    await again.close();
  });
});

async function expectImports(path: string, imports: number): Promise<void> {
  const store = await openStore(storeOptions(path));
  await store.verify();
  expect(store.revision()).toBe(imports);
  expect(await store.readStudy()).toEqual(studyAfter(imports));
  await store.close();
}

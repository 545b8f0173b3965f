import { cpSync, existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { answerOutcome } from '@longhold/core/answers';
import { createRandom } from '@longhold/core/numeric';
import { patientHistorySchema, type Study } from '@longhold/core/records';
import { createStore, openStore } from '@longhold/desktop/host/store';
import { connect } from '@longhold/desktop/host/store/database';
import { readMasterKey } from '@longhold/desktop/host/store/key-file';
import { deriveStoreKeys } from '@longhold/desktop/host/store/store-keys';
import {
  AUTHORSHIP,
  contentsOf,
  GROWTH_TABLE,
  importOf,
  MIGRATIONS_FOLDER,
  PASSPHRASE,
  storeOptions,
  tableImport,
  temporaryFolder,
} from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { z } from 'zod';
import { bundlePrograms, type ChildPrograms } from './child-programs';
import { FAULT_ROUNDS } from './rounds';

const FORMS = ['before-films', 'before-growth-tables', 'before-pooling', 'before-statistics'] as const;
type Form = (typeof FORMS)[number];
/** How many migrations each store has; see fixtures/README.md. */
const APPLIED: Readonly<Record<Form, number>> = {
  'before-films': 1,
  'before-growth-tables': 2,
  'before-pooling': 3,
  'before-statistics': 4,
};

const writtenSchema = z.strictObject({
  revision: z.int(),
  study: z.array(patientHistorySchema),
  audit: z.array(z.unknown()),
  settings: z.strictObject({ demo: z.unknown(), views: z.unknown() }),
  /** By kind and key; empty in stores from before pooling. */
  pooling: z.record(z.string(), z.record(z.string(), z.looseObject({}))).default({}),
});
const journalSchema = z.looseObject({ entries: z.array(z.unknown()) });

const folder = temporaryFolder(afterAll);
const PRESENT = migrationsOf(MIGRATIONS_FOLDER);
let programs: ChildPrograms;
beforeAll(async () => {
  programs = await bundlePrograms(['open-and-say']);
});
afterAll(() => programs.remove());

let copies = 0;
/** A copy of an earlier store and its key file. */
function copyOf(form: Form): string {
  copies++;
  const path = join(folder, `${copies} ${form}.longhold`);
  const committed = join(import.meta.dirname, 'fixtures', `${form}.longhold`);
  cpSync(committed, path);
  cpSync(`${committed}.key`, `${path}.key`);
  return path;
}

/** What the program that wrote it read back. What records have gained since then takes its default: unknown, or 1. */
function written(form: Form): z.infer<typeof writtenSchema> {
  const text = readFileSync(join(import.meta.dirname, 'fixtures', `${form}.longhold.json`), 'utf8');
  return writtenSchema.parse(JSON.parse(text));
}

function migrationsOf(migrationsFolder: string): number {
  const journal: unknown = JSON.parse(readFileSync(join(migrationsFolder, 'meta', '_journal.json'), 'utf8'));
  return journalSchema.parse(journal).entries.length;
}

/** How many migrations a store has, read past the program; SQLite first undoes what a killed program left half-done. */
async function appliedTo(path: string): Promise<unknown> {
  const keys = deriveStoreKeys(await readMasterKey(path, PASSPHRASE));
  const database = connect(path, keys.cipherKey, 1000);
  const row = await database.direct('SELECT count(*) AS applied FROM __drizzle_migrations');
  database.disconnect();
  return row?.['applied'];
}

async function expectAllThere(path: string, form: Form): Promise<void> {
  const store = await openStore(storeOptions(path));
  const { revision, study, audit, settings, pooling } = written(form);
  await store.verify();
  expect(store.revision()).toBe(revision);
  expect(await store.readStudy()).toEqual(study);
  expect(await store.auditTrail({ limit: 1000 })).toEqual(audit);
  expect(await store.readSetting('demo')).toEqual(settings.demo);
  expect(await store.readSetting('views')).toEqual(settings.views);
  expect(await store.readGrowthTables()).toEqual([]);
  const { book } = await store.readPooling();
  for (const [kind, documents] of Object.entries(book)) {
    const before = Object.entries(pooling[kind] ?? {});
    expect([...documents.keys()], kind).toEqual(before.map(([key]) => key));
    for (const [key, content] of before) expect(documents.get(key), `${kind} ${key}`).toMatchObject(content);
  }
  await store.close();
}

describe.each(FORMS)('A store written %s', (form) => {
  it('opens with all patients, audit entries and settings, and takes on the present form', async () => {
    const { study, audit } = written(form);
    expect(study.length).toBeGreaterThan(12);
    expect(audit.length).toBeGreaterThan(study.length);
    const path = copyOf(form);
    expect(await appliedTo(path)).toBe(APPLIED[form]);
    await expectAllThere(path, form);
    expect(await appliedTo(path)).toBe(PRESENT);
    // A second time there is nothing left to do.
    await expectAllThere(path, form);
    expect(existsSync(`${path}.before-upgrade`)).toBe(false);
  });

  it('takes imports, film factors and growth tables afterwards', async () => {
    const path = copyOf(form);
    const store = await openStore(storeOptions(path));
    const study = await store.readStudy();
    const withFactors = study.map((history) => ({
      ...history,
      visits: history.visits.map((visit) => ({
        ...visit,
        filmFactor: 0.92,
        filmFactorEvidence: 'ruler_on_film' as const,
      })),
    }));
    await store.applyImport(importOf(study, withFactors));
    await store.applyImport(tableImport(null, GROWTH_TABLE));
    await store.writeSetting('views', [], AUTHORSHIP);
    await store.close();
    const again = await openStore(storeOptions(path));
    await again.verify();
    expect(await again.readStudy()).toEqual(withFactors);
    expect(await again.readGrowthTables()).toEqual([GROWTH_TABLE]);
    await again.close();
  });

  it('goes on sending what it sent, where it was linked', async () => {
    const store = await openStore(storeOptions(copyOf(form)));
    const { book } = await store.readPooling();
    const linked = Object.keys(written(form).pooling['link'] ?? {});
    expect([...book.link.values()].map(({ sends }) => sends)).toEqual(linked.map(() => 'records'));
    await store.close();
  });

  it('is left byte for byte as it was by a passphrase that is wrong', async () => {
    const path = copyOf(form);
    const before = contentsOf(folder);
    const attempt = openStore({ ...storeOptions(path), passphrase: 'another passphrase' });
    await expect(attempt).rejects.toMatchObject({ code: 'wrong-passphrase' });
    expect(contentsOf(folder)).toEqual(before);
    expect(await appliedTo(path)).toBe(APPLIED[form]);
  });
});

describe('Lengths of a store from before films had factors', () => {
  async function opened(form: Form): Promise<Study> {
    const store = await openStore(storeOptions(copyOf(form)));
    const study = await store.readStudy();
    await store.close();
    return study;
  }
  /** Treated patients whose length was taken at the start; without that nothing else can be missing. */
  function measuredAtStart(study: Study): string[] {
    const measured = study.filter(
      ({ patient, visits }) =>
        patient.group === 'treated' &&
        visits.some((visit) => visit.kind === 'start' && visit.measurements.some(isLength)),
    );
    return measured.map(({ patient }) => patient.code);
  }
  const isLength = ({ measure }: { measure: string }): boolean => measure === 'Co-Gn';

  it('have no factor and are named as such, patient by patient, instead of being taken for natural size', async () => {
    const study = await opened('before-films');
    expect(study.flatMap(({ visits }) => visits).every(({ filmFactor }) => filmFactor === null)).toBe(true);
    const answer = answerOutcome(study, { measure: 'Co-Gn', resamples: 50 });
    expect(answer.gain).toBeNull();
    expect(answer.survival).toBeNull();
    expect(answer.films.unknown).toBe(study.length);
    expect(answer.warnings.map(({ code }) => code)).toContain('film-factor-unknown');
    const named = answer.leftOut.find(({ reason }) => reason === 'film-factor-unknown')?.codes ?? [];
    expect(named.length).toBeGreaterThan(8);
    expect([...named].sort()).toEqual(measuredAtStart(study).sort());
  });

  it('are answered once the question gives the factor, and what films do not enlarge needs none', async () => {
    const study = await opened('before-films');
    const given = answerOutcome(study, { measure: 'Co-Gn', filmFactor: 1, resamples: 50 });
    expect(given.gain?.n).toBeGreaterThan(8);
    expect(given.films.assumed).toBe(study.length);
    const overjet = answerOutcome(study, { measure: 'overjet', resamples: 50 });
    expect(overjet.gain?.n).toBeGreaterThan(8);
    const angle = answerOutcome(study, { measure: 'SNB', resamples: 50 });
    for (const { films, warnings } of [overjet, angle]) {
      expect(films.unknown).toBe(0);
      expect(warnings.map(({ code }) => code)).not.toContain('film-factor-unknown');
    }
  });

  it('keep the factors that a store with films has', async () => {
    const answer = answerOutcome(await opened('before-growth-tables'), { measure: 'Co-Gn', resamples: 50 });
    expect(answer.gain?.n).toBeGreaterThan(8);
    expect(answer.warnings.map(({ code }) => code)).not.toContain('film-factor-unknown');
  });
});

describe('A program killed while it brings a store to the present form', () => {
  it('in the midst of the change leaves the old store, whole, and the next start brings it over', async () => {
    const slow = withSlowMigration();
    for (const form of FORMS) {
      for (let round = 0; round < 3; round++) {
        const path = copyOf(form);
        const { process: child, ended } = programs.start('open-and-say', [path, slow]);
        // SQLite's journal of what a change is about to overwrite: while it is there, the change is under way.
        await waitFor(() => existsSync(`${path}-journal`) && existsSync(`${path}.before-upgrade`));
        await pause(20 * round);
        child.kill('SIGKILL');
        const { output, errors } = await ended;
        expect({ output, errors }).toEqual({ output: 'opening\n', errors: '' });
        expect(existsSync(`${path}-journal`), 'killed in the midst of it').toBe(true);
        expect(await appliedTo(path)).toBe(APPLIED[form]);
        await expectAllThere(path, form);
        expect(existsSync(`${path}.before-upgrade`)).toBe(false);
      }
    }
  });

  it(`at ${FAULT_ROUNDS} random moments leaves the old form or the present one, never one between, and nothing lost`, async () => {
    const random = createRandom(20261125);
    const length = await millisecondsToOpen();
    const found = new Map<unknown, number>();
    for (let round = 0; round < FAULT_ROUNDS; round++) {
      const path = copyOf('before-films');
      const { process: child, ended } = programs.start('open-and-say', [path, MIGRATIONS_FOLDER]);
      await new Promise((resolve) => child.stdout?.once('data', resolve));
      await pause(random.uniform() * 1.3 * length);
      child.kill('SIGKILL');
      const { output, errors } = await ended;
      expect(errors).toBe('');
      const applied = await appliedTo(path);
      if (output.includes('opened')) expect(applied).toBe(PRESENT);
      found.set(applied, (found.get(applied) ?? 0) + 1);
      await expectAllThere(path, 'before-films');
    }
    expect([...found.keys()].sort()).toEqual([APPLIED['before-films'], PRESENT]);
  });

  async function millisecondsToOpen(): Promise<number> {
    const program = programs.start('open-and-say', [copyOf('before-films'), MIGRATIONS_FOLDER]);
    await new Promise((resolve) => program.process.stdout?.once('data', resolve));
    const started = performance.now();
    await new Promise((resolve) => program.process.stdout?.once('data', resolve));
    const length = performance.now() - started;
    expect((await program.ended).output).toBe('opening\nopened\n');
    return length;
  }

  /** The present migrations and one more that takes seconds, so that a kill lands inside the change for certain. */
  function withSlowMigration(): string {
    const target = join(folder, 'slow migrations');
    cpSync(MIGRATIONS_FOLDER, target, { recursive: true });
    const journalFile = join(target, 'meta', '_journal.json');
    const journal = journalSchema.parse(JSON.parse(readFileSync(journalFile, 'utf8')));
    const entry = {
      idx: PRESENT,
      version: '6',
      when: Date.UTC(2100, 0, 1),
      tag: '9999_slow',
      breakpoints: true,
    };
    writeFileSync(journalFile, JSON.stringify({ ...journal, entries: [...journal.entries, entry] }));
    const many = 'WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 30000000)';
    writeFileSync(
      join(target, '9999_slow.sql'),
      `CREATE TABLE \`slow\` AS ${many} SELECT count(*) AS i FROM n;`,
    );
    return target;
  }

  async function waitFor(isSo: () => boolean): Promise<void> {
    for (let tries = 0; tries < 2000; tries++) {
      if (isSo()) return;
      await pause(5);
    }
    throw new Error('waited in vain');
  }
});

describe('A store of today', () => {
  it('is not changed by opening: no copy is made and no migration runs', async () => {
    const path = join(folder, 'today.longhold');
    await (await createStore(storeOptions(path))).close();
    const before = await appliedTo(path);
    await (await openStore(storeOptions(path))).close();
    expect(await appliedTo(path)).toBe(before);
    expect(existsSync(`${path}.before-upgrade`)).toBe(false);
  });
});

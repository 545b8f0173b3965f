import { cpSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createClient } from '@libsql/client';
import { pathToFileURL } from 'node:url';
import { afterAll, expect, it } from 'vitest';
import { z } from 'zod';
import { MIGRATIONS, temporaryFolder } from '../service.fixture';
import { openSqliteStore } from './sqlite/sqlite-store';

const folder = temporaryFolder(afterAll);
const journalSchema = z.looseObject({ entries: z.array(z.looseObject({ tag: z.string() })) });

/** The migrations as they were before members had numbers. */
function formerMigrations(): string {
  const former = join(folder, 'former');
  cpSync(join(MIGRATIONS, 'sqlite', 'migrations'), former, { recursive: true });
  const path = join(former, 'meta', '_journal.json');
  const journal = journalSchema.parse(JSON.parse(readFileSync(path, 'utf8')));
  const entries = journal.entries.filter(({ tag }) => tag < '0002');
  writeFileSync(path, JSON.stringify({ ...journal, entries }));
  return former;
}

it('a store from before members had numbers opens whole, and each member of a role gets one of its own', async () => {
  const path = join(folder, 'study.sqlite');
  await (await openSqliteStore({ path, migrationsFolder: formerMigrations() })).close();
  const client = createClient({ url: pathToFileURL(path).href });
  await client.batch([
    "INSERT INTO members (id, role) VALUES ('d', 'coordinator')",
    "INSERT INTO members (id, role) VALUES ('c', 'centre')",
    "INSERT INTO members (id, role) VALUES ('a', 'centre')",
    "INSERT INTO members (id, role) VALUES ('b', 'reader')",
  ]);
  client.close();
  const store = await openSqliteStore({ path, migrationsFolder: join(MIGRATIONS, 'sqlite', 'migrations') });
  const members = await store.read((reader) => reader.members());
  await store.close();
  expect(members).toEqual([
    { id: 'a', role: 'centre', number: 1 },
    { id: 'c', role: 'centre', number: 2 },
    { id: 'd', role: 'coordinator', number: 1 },
    { id: 'b', role: 'reader', number: 1 },
  ]);
});

import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { createClient } from '@libsql/client';
import { Client } from 'pg';
import { pathToFileURL } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import {
  batchOf,
  findPostgres,
  INVENTED_DEFINITION,
  inventedRecord,
  openTestStore,
  startPostgres,
  temporaryFolder,
  testService,
  versionOf,
  type PrivatePostgres,
} from '../service.fixture';
import type { StorePlace } from '../store/open-store';
import { verifyStore } from './verify';

const folder = temporaryFolder(afterAll);
const programs = findPostgres();
let postgres: PrivatePostgres | null = null;
beforeAll(() => {
  postgres = programs === null ? null : startPostgres(programs);
});
afterAll(() => postgres?.stop());

/** Runs statements as somebody who goes past the service, with the checks of references off. */
async function meddle(place: StorePlace, statement: string): Promise<void> {
  if (place.kind === 'sqlite') {
    const client = createClient({ url: pathToFileURL(place.path).href, concurrency: 1 });
    await client.executeMultiple(`PRAGMA foreign_keys = OFF; ${statement};`);
    client.close();
    return;
  }
  const client = new Client(place.url);
  await client.connect();
  await client.query(`SET session_replication_role = replica; ${statement}`);
  await client.end();
}

describe.each(['sqlite', 'postgres'] as const)('On %s', (kind) => {
  it.skipIf(kind === 'postgres' && programs === null).each([
    ['nothing, where nobody meddled', 'UPDATE study SET sequence = sequence', []],
    [
      'a record that is not what was sent',
      `UPDATE versions SET body = replace(body, '"female"', '"male"')`,
      ['is not what was sent'],
    ],
    [
      'a member that is missing',
      'DELETE FROM members',
      ['table codes refers', 'table devices refers', 'table versions refers', 'table batches refers'],
    ],
    ['a number later than the study', 'UPDATE study SET sequence = 1', ['is later than the study']],
    [
      'a patient without a newest record',
      'UPDATE versions SET body = NULL WHERE sequence = (SELECT min(sequence) FROM versions)',
      ['1 patients have no newest record'],
    ],
  ])('a check of the store finds %s', async (_what, statement, words) => {
    const place: StorePlace =
      kind === 'sqlite'
        ? { kind, path: join(folder, `${randomUUID()}.sqlite`) }
        : { kind, url: postgres?.newDatabase() ?? '' };
    const service = await testService(place);
    const { token: coordinator } = await service.enrolled('coordinator');
    const { token } = await service.enrolled('centre');
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
    await service.ask('push', batchOf([1, 2].map((number) => versionOf(inventedRecord(number)))), token);
    await service.close();
    await meddle(place, statement);
    const store = await openTestStore(place);
    const { faults } = await verifyStore(store);
    await store.close();
    for (const word of words) expect(faults.join('\n')).toContain(word);
    expect(faults.length === 0).toBe(words.length === 0);
  });
});

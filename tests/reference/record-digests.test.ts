import { spawnSync } from 'node:child_process';
import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { pooledRecordSchema, studyDefinitionSchema, type PooledRecord } from '@longhold/core/contribution';
import { tombstoneOf, versionOf } from '@longhold/desktop/host/pooling/pseudonyms';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { z } from 'zod';
import { temporaryFolder, testService, type TestService } from '../../apps/sync/src/service.fixture';
import { DEFINITION } from '../pooling/programs';
import { readFixture, referencePath } from './fixture';

// Judge: Python's json, decimal and hashlib, from the words of docs/pooling-protocol.md (python/record_digests.py).

const fixtureSchema = z.strictObject({
  member: z.string(),
  versions: z.array(
    z.strictObject({
      record: pooledRecordSchema,
      version: z.string(),
      changed: pooledRecordSchema,
      changedVersion: z.string(),
      tombstone: z.string(),
    }),
  ),
});
const { member, versions } = fixtureSchema.parse(readFixture<unknown>('record-digests'));

const folder = temporaryFolder(afterAll);
const python = spawnSync('python3', ['--version']).status === 0;
let service: TestService;
let token: string;

beforeAll(async () => {
  service = await testService({ kind: 'sqlite', path: join(folder, 'pool.sqlite') });
  const coordinator = await service.enrolled('coordinator');
  const definition = studyDefinitionSchema.parse({ ...DEFINITION, measures: ['Co-Gn', 'SNB', 'ANB'] });
  await service.ask('publish', { basedOn: 0, definition }, coordinator.token);
  ({ token } = await service.enrolled('centre'));
});
afterAll(() => service.close());

/** What the service says of one version; a refusal's code where it refuses. */
async function pushed(record: unknown, basedOn: string | null, version: string): Promise<unknown> {
  const items = [{ kind: 'record', version, basedOn, record }];
  const { reason, data } = await service.ask('push', { batch: randomUUID(), definition: 1, items }, token);
  const [outcome] = z.array(z.looseObject({ kind: z.string() })).parse(data['items'] ?? []);
  return reason ?? outcome?.kind;
}

describe('Digests of versions made in Python from the words of the protocol', () => {
  it('are those that the clinic’s program makes, of first and of later versions and of withdrawn patients', () => {
    expect(versions).toHaveLength(60);
    for (const one of versions) {
      expect(versionOf(null, one.record)).toBe(one.version);
      expect(versionOf(one.version, one.changed)).toBe(one.changedVersion);
      expect(tombstoneOf(member, one.record.pseudonym)).toBe(one.tombstone);
    }
  });

  it('are those that the service takes, and no other is taken', async () => {
    for (const { record, version, changed, changedVersion } of versions) {
      expect(await pushed(changed, version, version)).toBe('wrong-digest');
      expect(await pushed(record, null, version)).toBe('stored');
      expect(await pushed(changed, version, changedVersion)).toBe('stored');
    }
  });

  it.skipIf(!python)('are what Python prints now', () => {
    const { stdout, status } = spawnSync('python3', [referencePath('python', 'record_digests.py')], {
      encoding: 'utf8',
    });
    expect(status).toBe(0);
    expect(JSON.parse(stdout)).toEqual(readFixture<unknown>('record-digests'));
  });
});

const hexadecimal = (digits: number): fc.Arbitrary<string> =>
  fc.string({ unit: fc.constantFrom(...'0123456789abcdef'), minLength: digits, maxLength: digits });

/** Any record, and the same with its keys in any order. */
const anyRecord: fc.Arbitrary<{ readonly record: PooledRecord; readonly shuffled: unknown }> = fc
  .record({
    pseudonym: hexadecimal(32),
    group: fc.constantFrom('treated' as const, 'untreated' as const),
    sex: fc.constantFrom('female' as const, 'male' as const),
    ageMonths: fc.integer({ min: 0, max: 1200 }),
    protocol: fc.constantFrom(null, 'PLATE', 'FIXED'),
    expansion: fc.constantFrom(null, true, false),
    maturityStart: fc.constantFrom(null, 'CS2' as const, 'around-peak' as const),
    yearsPassed: fc.integer({ min: 0, max: 100 }),
    visits: fc.array(
      fc.record({
        kind: fc.constantFrom('start' as const, 'end_of_active' as const, 'follow_up' as const),
        day: fc.integer({ min: -7500, max: 36500 }),
        values: fc.array(
          fc.record({
            measure: fc.constantFrom('Co-Gn', 'SNB', 'ANB'),
            value: fc.double({ min: -1000, max: 1000, noNaN: true }),
            films: fc.integer({ min: 1, max: 9 }),
            readings: fc.integer({ min: 1, max: 99 }),
            magnification: fc.constantFrom('natural' as const, 'by-factor' as const),
          }),
          { maxLength: 3 },
        ),
      }),
      { maxLength: 5 },
    ),
    events: fc.array(
      fc.record({
        event: fc.constantFrom('moved' as const, 'declined' as const),
        day: fc.integer({ min: -7500, max: 36500 }),
      }),
      { maxLength: 3 },
    ),
  })
  .chain((record) =>
    fc
      .shuffledSubarray(Object.entries(record), { minLength: 10, maxLength: 10 })
      .map((entries) => ({ record, shuffled: Object.fromEntries(entries) })),
  );

describe('Of any record', () => {
  it('the clinic’s program and the service make the same digest, whatever the order of keys', async () => {
    await fc.assert(
      fc.asyncProperty(anyRecord, fc.option(hexadecimal(64)), async ({ record, shuffled }, basedOn) => {
        expect(await pushed(shuffled, basedOn, versionOf(basedOn, record))).toBe('stored');
      }),
      { seed: 20261126, numRuns: 150 },
    );
  });
});

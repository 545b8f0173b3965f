import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { randomUUID } from 'node:crypto';
import { gzipSync } from 'node:zlib';
import { BODY_LIMIT, PROCEDURES, PROTOCOL_HEADER, type ProcedureName } from '@longhold/core/exchange';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { backUp, restore } from './command/backup';
import { verifyStore } from './command/verify';
import { isProcedure, syncRouter } from './http/router';
import {
  batchOf,
  findPostgres,
  INVENTED_DEFINITION,
  inventedRecord,
  openTestStore,
  replyOf,
  startPostgres,
  temporaryFolder,
  testService,
  versionOf,
  type PrivatePostgres,
  type TestService,
} from './service.fixture';
import type { StorePlace } from './store/open-store';

const folder = temporaryFolder(afterAll);
const programs = findPostgres();
let postgres: PrivatePostgres | null = null;
beforeAll(() => {
  postgres = programs === null ? null : startPostgres(programs);
});
afterAll(() => postgres?.stop());

function newPlace(kind: StorePlace['kind']): StorePlace {
  if (kind === 'sqlite') return { kind, path: join(folder, `${randomUUID()}.sqlite`) };
  if (postgres === null) throw new Error('no PostgreSQL was started');
  return { kind, url: postgres.newDatabase() };
}

const kindsOf = (reply: { data: Record<string, unknown> }): unknown[] =>
  [reply.data['items']].flat().map((item) => Reflect.get(Object(item), 'kind'));

describe.each(['sqlite', 'postgres'] as const)('On %s', (kind) => {
  describe.skipIf(kind === 'postgres' && programs === null)('the service', () => {
    let place: StorePlace;
    let service: TestService;
    let coordinator: string;
    let centre: Awaited<ReturnType<TestService['enrolled']>>;
    beforeEach(async () => {
      place = newPlace(kind);
      service = await testService(place);
      coordinator = (await service.enrolled('coordinator')).token;
      centre = await service.enrolled('centre');
      await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
    });
    afterEach(() => service.close());

    it('numbers members by their role in the order of invitation, also those invited at once', async () => {
      const invited = await Promise.all(
        ['centre', 'reader', 'centre', 'centre'].map((role) =>
          service.ask('invite', { role, member: null }, coordinator),
        ),
      );
      const numbers = invited.map(({ data }) => data['number']);
      expect(numbers[1]).toBe(1);
      expect([numbers[0], numbers[2], numbers[3]].sort()).toEqual([2, 3, 4]);
      const { data } = await service.ask('devices', {}, coordinator);
      expect(
        [data['devices']]
          .flat()
          .map((row) => [Reflect.get(Object(row), 'role'), Reflect.get(Object(row), 'number')]),
      ).toEqual(
        expect.arrayContaining([
          ['coordinator', 1],
          ['centre', 1],
        ]),
      );
    });

    it('stores a batch once, however often it comes, and refuses its key for other content', async () => {
      const batch = batchOf([1, 2, 3].map((number) => versionOf(inventedRecord(number))));
      const first = await service.ask('push', batch, centre.token);
      expect(kindsOf(first)).toEqual(['stored', 'stored', 'stored']);
      expect(await service.ask('push', batch, centre.token)).toEqual(first);
      const elsewhere = await service.ask('push', batchOf(batch.items), centre.token);
      expect(kindsOf(elsewhere)).toEqual(['already-stored', 'already-stored', 'already-stored']);
      const reused = batchOf([versionOf(inventedRecord(4))], batch.batch);
      expect((await service.ask('push', reused, centre.token)).reason).toBe('batch-reused');
      const pulled = await service.ask('pull', { after: 0 }, centre.token);
      expect([pulled.data['changes']].flat()).toHaveLength(3);
    });

    it('answers a conflict with what it holds, and takes a version that is made from that', async () => {
      const first = versionOf(inventedRecord(1));
      const mine = versionOf(inventedRecord(1, 151), first.version);
      const theirs = versionOf(inventedRecord(1, 152), first.version);
      await service.ask('push', batchOf([first, mine]), centre.token);
      const contested = await service.ask('push', batchOf([theirs]), centre.token);
      expect(contested.data['items']).toMatchObject([{ kind: 'conflict', head: { version: mine.version } }]);
      const settled = versionOf(theirs.record, mine.version);
      expect(kindsOf(await service.ask('push', batchOf([settled]), centre.token))).toEqual(['stored']);
      // The first version, late and by another way, is known and takes nobody's place.
      expect(kindsOf(await service.ask('push', batchOf([first]), centre.token))).toEqual(['already-stored']);
      const pulled = await service.ask('pull', { after: 0 }, centre.token);
      expect(pulled.data['changes']).toMatchObject([{ version: settled.version }]);
    });

    it('deletes a withdrawn patient for good, with one receipt, whenever the record comes', async () => {
      const { pseudonym } = inventedRecord(1);
      const batch = batchOf([versionOf(inventedRecord(1)), versionOf(inventedRecord(2))]);
      await service.ask('push', batch, centre.token);
      const withdrawal = batchOf([{ kind: 'withdrawal', pseudonym }]);
      const receipt = await service.ask('push', withdrawal, centre.token);
      expect(receipt.data['items']).toMatchObject([
        { kind: 'withdrawn', receipt: { versionsRemoved: 1, month: '2026-03' } },
      ]);
      service.setClock(new Date('2025-01-01T00:00:00Z'));
      const again = await service.ask('push', batchOf(withdrawal.items), centre.token);
      expect(again.data['items']).toEqual(receipt.data['items']);
      expect(kindsOf(await service.ask('push', batch, centre.token))).toEqual(['gone', 'stored']);
      expect(kindsOf(await service.ask('push', batchOf(batch.items), centre.token))).toEqual([
        'gone',
        'already-stored',
      ]);
      const pulled = await service.ask('pull', { after: 0 }, centre.token);
      expect(JSON.stringify(pulled.data)).not.toContain(pseudonym);
      expect(await verifyStore(service.store)).toEqual({ records: 1, withdrawn: 1, faults: [] });
    });

    it('keeps the records of a centre from all others unless the study agreement shares them', async () => {
      const other = await service.enrolled('centre');
      await service.ask('push', batchOf([versionOf(inventedRecord(1))]), centre.token);
      expect((await service.ask('pull', { after: 0 }, other.token)).data['changes']).toEqual([]);
      const everything = { after: 0, of: 'all' };
      for (const token of [other.token, coordinator]) {
        expect((await service.ask('pull', everything, token)).reason).toBe('not-allowed');
      }
      const shared = { basedOn: 1, definition: { ...INVENTED_DEFINITION, recordsShared: true } };
      expect((await service.ask('publish', shared, coordinator)).reason).toBe(null);
      expect((await service.ask('publish', shared, coordinator)).reason).toBe('definition-conflict');
      // Its clinic sent that record when nobody else was to read it.
      expect((await service.ask('pull', everything, other.token)).data['changes']).toEqual([]);
      const first = versionOf(inventedRecord(1));
      const anew = versionOf(inventedRecord(1, 153), first.version);
      expect(kindsOf(await service.ask('push', { ...batchOf([anew]), definition: 2 }, centre.token))).toEqual(
        ['stored'],
      );
      const pulled = await service.ask('pull', everything, other.token);
      expect([pulled.data['changes']].flat()).toHaveLength(1);
      const late = await service.ask('push', batchOf([versionOf(inventedRecord(2))]), centre.token);
      expect(late.reason).toBe('definition-outdated');
    });

    it('takes a code once and in time, ends a revoked device, and lets a new token take over when it is used', async () => {
      const { data: invited } = await service.ask(
        'invite',
        { role: 'centre', member: centre.member },
        centre.token,
      );
      const second = await service.ask('enrol', { code: invited['code'] });
      expect(second.data['member']).toBe(centre.member);
      expect((await service.ask('enrol', { code: invited['code'] })).reason).toBe('code-used');
      const { data: late } = await service.ask('invite', { role: 'reader', member: null }, coordinator);
      service.setClock(new Date('2026-03-18T10:00:00Z'));
      expect((await service.ask('enrol', { code: late['code'] })).reason).toBe('code-expired');
      const next = String((await service.ask('rotateToken', {}, centre.token)).data['token']);
      expect((await service.ask('session', {}, centre.token)).reason).toBe(null);
      expect((await service.ask('session', {}, next)).reason).toBe(null);
      expect((await service.ask('session', {}, centre.token)).reason).toBe('not-signed-in');
      const ended = await service.ask('revoke', { kind: 'device', device: second.data['device'] }, next);
      expect(ended.data).toEqual({ revoked: 1 });
      expect((await service.ask('session', {}, String(second.data['token']))).reason).toBe('revoked');
      const foreign = await service.ask(
        'revoke',
        { kind: 'member', member: centre.member },
        (await service.enrolled('centre')).token,
      );
      expect(foreign.reason).toBe('not-allowed');
    });

    it('refuses each procedure without a token, with a revoked one, and with a role it is not for', async () => {
      const members = {
        centre,
        reader: await service.enrolled('reader'),
        coordinator: await service.enrolled('coordinator'),
      };
      const revoked = await service.enrolled('centre');
      await service.ask('revoke', { kind: 'member', member: revoked.member }, coordinator);
      const names = Object.keys(PROCEDURES).filter(isProcedure);
      expect([...Object.keys(syncRouter._def.procedures), 'push'].sort()).toEqual([...names].sort());
      for (const name of names) {
        const { roles } = PROCEDURES[name];
        if (roles === 'anyone') continue;
        expect((await service.ask(name, {})).reason, name).toBe('not-signed-in');
        expect((await service.ask(name, {}, 'A'.repeat(43))).reason, name).toBe('not-signed-in');
        expect((await service.ask(name, {}, revoked.token)).reason, name).toBe('revoked');
        for (const [role, { token }] of Object.entries(members)) {
          const allowed: readonly string[] = roles;
          if (!allowed.includes(role)) {
            expect((await service.ask(name, {}, token)).reason, `${name} ${role}`).toBe('not-allowed');
          }
        }
        const [role = 'centre'] = roles;
        const malformed = await service.ask(name, { madeUpKey: 1 }, members[role].token);
        expect(malformed.reason, name).toBe('wrong-input');
      }
    });

    it('refuses what is too large before and after unpacking, is not JSON, not POST, or of another protocol', async () => {
      const send = async (
        name: ProcedureName,
        payload: string | Buffer,
        headers: Record<string, string> = {},
      ) => {
        const reply = await service.server.inject({
          method: 'POST',
          url: `/rpc/${name}`,
          headers: {
            'content-type': 'application/json',
            [PROTOCOL_HEADER]: '1',
            authorization: `Bearer ${centre.token}`,
            ...headers,
          },
          payload,
        });
        return replyOf(reply.statusCode, reply.body);
      };
      const large = Buffer.from(`"${' '.repeat(BODY_LIMIT)}"`);
      expect((await send('push', large)).reason).toBe('too-large');
      expect((await send('push', gzipSync(large), { 'content-encoding': 'gzip' })).reason).toBe('too-large');
      expect((await send('push', 'no gzip', { 'content-encoding': 'gzip' })).reason).toBe('wrong-input');
      expect((await send('push', '{')).reason).toBe('wrong-input');
      expect((await send('session', '{}', { [PROTOCOL_HEADER]: '0' })).reason).toBe('protocol-too-old');
      expect((await send('session', '{}', { [PROTOCOL_HEADER]: '2' })).reason).toBe('protocol-too-new');
      expect((await send('session', gzipSync('{}'), { 'content-encoding': 'gzip' })).reason).toBe(null);
      const read = await service.server.inject({ method: 'GET', url: '/rpc/session' });
      expect(replyOf(read.statusCode, read.body)).toMatchObject({ status: 404, reason: 'not-found' });
    });

    it('keeps tokens, codes and pseudonyms out of its log and its audit', async () => {
      const item = versionOf(inventedRecord(1));
      await service.ask('push', batchOf([item]), centre.token);
      await service.ask('push', { ...batchOf([item]), planted: 'Planted Name 1999-12-31' }, centre.token);
      const early = await service.ask('audit', {}, coordinator);
      expect(JSON.stringify(early.data)).not.toContain('stored-records');
      // What is counted by month is shown when the month is over, and a small number of patients not at all.
      service.setClock(new Date('2026-04-01T00:00:00Z'));
      const { data } = await service.ask('audit', {}, coordinator);
      expect(data['entries']).toContainEqual(
        expect.objectContaining({ at: '2026-03', action: 'stored-records', count: null }),
      );
      const told = service.logged() + JSON.stringify(data);
      expect(service.logged()).toContain('"procedure":"push"');
      for (const secret of [centre.token, item.record.pseudonym, item.version, 'Planted', 'planted']) {
        expect(told).not.toContain(secret);
      }
    });

    it('moves whole to a new store of either kind under a new epoch, and a cut backup is refused', async () => {
      await service.ask('push', batchOf([1, 2].map((n) => versionOf(inventedRecord(n)))), centre.token);
      const file = join(folder, `${randomUUID()}.backup`);
      await backUp(service.store, file);
      const cut = join(folder, `${randomUUID()}.backup`);
      writeFileSync(cut, readFileSync(file).subarray(0, -40));
      const untouched = await openTestStore(newPlace(kind));
      await expect(restore(untouched, cut, () => new Date())).rejects.toThrow('not a whole backup');
      expect(await untouched.read((reader) => reader.members())).toEqual([]);
      await untouched.close();
      const kinds = programs === null ? (['sqlite'] as const) : (['sqlite', 'postgres'] as const);
      for (const to of kinds) {
        const fresh = await openTestStore(newPlace(to));
        await restore(fresh, file, () => new Date('2026-04-01T00:00:00Z'));
        expect(await verifyStore(fresh)).toEqual({ records: 2, withdrawn: 0, faults: [] });
        const before = await service.store.read((reader) => reader.study());
        const after = await fresh.read((reader) => reader.study());
        expect({ ...after, epoch: '' }).toEqual({ ...before, epoch: '' });
        expect(after.epoch).not.toBe(before.epoch);
        await expect(restore(fresh, file, () => new Date())).rejects.toThrow('holds a study already');
        await fresh.close();
      }
    });

    it('answers two devices that send at once without losing or doubling a record', async () => {
      const { data } = await service.ask('invite', { role: 'centre', member: centre.member }, centre.token);
      const { data: second } = await service.ask('enrol', { code: data['code'] });
      const tokens = [centre.token, String(second['token'])];
      const pushes = Array.from({ length: 20 }, (_unused, n) =>
        service.ask('push', batchOf([versionOf(inventedRecord(n % 10, 150 + (n % 3)))]), tokens[n % 2]),
      );
      const kinds = (await Promise.all(pushes)).flatMap(kindsOf);
      expect(kinds.filter((word) => word === 'stored')).toHaveLength(10);
      expect(kinds.filter((word) => word === 'conflict' || word === 'already-stored')).toHaveLength(10);
      expect(await verifyStore(service.store)).toEqual({ records: 10, withdrawn: 0, faults: [] });
    });
  });
});

describe('The files of an SQLite store', () => {
  it('hold nothing of a withdrawn pseudonym or its record once the receipt is given', async () => {
    const home = temporaryFolder(afterAll);
    const service = await testService({ kind: 'sqlite', path: join(home, 'study.sqlite') });
    const { token: coordinator } = await service.enrolled('coordinator');
    const { token } = await service.enrolled('centre');
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
    const records = Array.from({ length: 50 }, (_unused, n) => inventedRecord(n));
    await service.ask('push', batchOf(records.map((record) => versionOf(record))), token);
    const bytes = (): string =>
      readdirSync(home)
        .map((name) => readFileSync(join(home, name), 'latin1'))
        .join('');
    const pseudonym = records[7]?.pseudonym ?? '';
    expect(bytes()).toContain(pseudonym);
    await service.ask('push', batchOf([{ kind: 'withdrawal', pseudonym }]), token);
    expect(bytes()).not.toContain(pseudonym);
    expect(bytes()).toContain(records[8]?.pseudonym);
    expect(bytes()).not.toContain(token);
    await service.close();
  });
});

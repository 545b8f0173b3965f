import { pullAnswerSchema } from '@longhold/core/exchange';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { verifyStore } from './command/verify';
import { ownThread } from './pool/computer';
import {
  batchOf,
  findPostgres,
  INVENTED_DEFINITION,
  inventedRecord,
  startPostgres,
  testService,
  versionOf,
  type PrivatePostgres,
  type Reply,
  type TestService,
} from './service.fixture';
import { firstCoordinatorCode } from './study/enrolment';

const programs = findPostgres();
const SHARED = { ...INVENTED_DEFINITION, recordsShared: true };

const kindsOf = ({ data }: Reply): unknown[] =>
  [data['items']].flat().map((item) => Reflect.get(Object(item), 'kind'));

describe.skipIf(programs === null)('Two services on one PostgreSQL', () => {
  let postgres: PrivatePostgres | null = null;
  let services: TestService[] = [];
  let coordinator = '';
  let centres: { token: string; member: string }[] = [];
  beforeAll(async () => {
    if (programs === null) return;
    postgres = startPostgres(programs);
    const place = { kind: 'postgres', url: postgres.newDatabase() } as const;
    const first = await testService(place, ownThread);
    coordinator = (await first.enrolled('coordinator')).token;
    await first.ask('publish', { basedOn: 0, definition: SHARED }, coordinator);
    centres = [
      await first.enrolled('centre'),
      await first.enrolled('centre'),
      await first.enrolled('centre'),
    ];
    services = [first, await testService(place, ownThread)];
  });
  afterAll(async () => {
    for (const service of services) await service.close();
    postgres?.stop();
  });
  const at = (index: number): TestService => {
    const service = services[index % services.length];
    if (service === undefined) throw new Error('no service was started');
    return service;
  };

  it('let one of two versions of a patient win, and store one batch that comes to both once', async () => {
    const token = centres[0]?.token ?? '';
    for (let round = 0; round < 15; round++) {
      const batch = batchOf([versionOf(inventedRecord(100 + round))]);
      const same = await Promise.all([0, 1, 0, 1].map((index) => at(index).ask('push', batch, token)));
      for (const reply of same) expect(reply).toEqual(same[0]);
      const basedOn = batch.items[0]?.kind === 'record' ? batch.items[0].version : null;
      const rivals = await Promise.all(
        [0, 1].map((index) =>
          at(index).ask(
            'push',
            batchOf([versionOf(inventedRecord(100 + round, 160 + index), basedOn)]),
            token,
          ),
        ),
      );
      expect(rivals.flatMap(kindsOf).sort()).toEqual(['conflict', 'stored']);
    }
    expect((await verifyStore(at(0).store)).faults).toEqual([]);
  });

  it('never let who pulls by cursor pass by a change, however batches of several centres overlap', async () => {
    let writing = true;
    const seen = new Map<number, string>();
    const follow = async (index: number): Promise<Map<string, number>> => {
      const mine = new Map<string, number>();
      let after = 0;
      for (;;) {
        const last = !writing;
        const reply = await at(index).ask('pull', { after, of: 'all', limit: 7 }, coordinator);
        const answer = pullAnswerSchema.parse(reply.data);
        for (const change of answer.changes) {
          const what = change.kind === 'record' ? change.version : change.tombstone;
          mine.set(what, change.sequence);
          // A number belongs to one change, whoever gives it out.
          expect(seen.get(change.sequence) ?? what).toBe(what);
          seen.set(change.sequence, what);
        }
        after = answer.next;
        if (last && !answer.more) return mine;
      }
    };
    const followers = [0, 1, 2].map(follow);
    const send = async (index: number): Promise<Map<string, number>> => {
      const mine = new Map<string, number>();
      for (let batch = 0; batch < 15; batch++) {
        const items = Array.from({ length: 1 + ((batch + index) % 5) }, (_unused, n) =>
          versionOf(inventedRecord(10_000 + index * 1_000 + batch * 10 + n)),
        );
        const token = centres[index % centres.length]?.token ?? '';
        const { data } = await at(batch).ask('push', batchOf(items), token);
        [data['items']].flat().forEach((item, n) => {
          mine.set(items[n]?.version ?? '', Number(Reflect.get(Object(item), 'sequence')));
        });
      }
      return mine;
    };
    const sent = await Promise.all([0, 1, 2, 3, 4, 5].map(send));
    writing = false;
    const acknowledged = sent.flatMap((mine) => [...mine]);
    for (const followed of await Promise.all(followers)) {
      for (const [version, sequence] of acknowledged) expect(followed.get(version)).toBe(sequence);
    }
  });

  it('take one code once, publish one of two definitions, and make one coordinator for a new study', async () => {
    const { data } = await at(0).ask('invite', { role: 'centre', member: null }, coordinator);
    const enrolments = await Promise.all(
      [0, 1, 0, 1].map((index) => at(index).ask('enrol', { code: data['code'] })),
    );
    expect(enrolments.map(({ reason }) => reason).sort()).toEqual([
      'code-used',
      'code-used',
      'code-used',
      null,
    ]);
    const published = await Promise.all(
      [0, 1].map((index) => at(index).ask('publish', { basedOn: 1, definition: SHARED }, coordinator)),
    );
    expect(published.map(({ reason }) => reason).sort()).toEqual(['definition-conflict', null]);
    const place = { kind: 'postgres', url: postgres?.newDatabase() ?? '' } as const;
    const fresh = await Promise.all([testService(place, ownThread), testService(place, ownThread)]);
    expect(await firstCoordinatorCode(fresh[0].store, () => new Date())).toBe(null);
    const members = await fresh[0].store.read((reader) => reader.members());
    expect(members).toHaveLength(1);
    for (const service of fresh) await service.close();
  });

  it('end a device at both as soon as one has said so, also for what is on its way', async () => {
    const { data } = await at(0).ask('invite', { role: 'centre', member: null }, coordinator);
    const { data: device } = await at(0).ask('enrol', { code: data['code'] });
    const token = String(device['token']);
    let said = false;
    const late: (string | null)[] = [];
    let number = 50_000;
    const pushes = [0, 1, 0, 1].map(async (index) => {
      for (let after = 0; after < 3;) {
        const saidBefore = said;
        const batch = { ...batchOf([versionOf(inventedRecord(number++))]), definition: 2 };
        const { reason } = await at(index).ask('push', batch, token);
        if (!saidBefore) continue;
        late.push(reason);
        after++;
      }
    });
    const ended = await at(1).ask('revoke', { kind: 'device', device: device['device'] }, coordinator);
    said = true;
    expect(ended.data).toEqual({ revoked: 1 });
    await Promise.all(pushes);
    expect(new Set(late)).toEqual(new Set(['revoked']));
  });
});

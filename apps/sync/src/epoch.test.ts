import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { EPOCH_HEADER, PROTOCOL_HEADER } from '@longhold/core/exchange';
import { afterAll, afterEach, beforeEach, describe, expect, it } from 'vitest';
import {
  batchOf,
  INVENTED_DEFINITION,
  inventedRecord,
  temporaryFolder,
  testService,
  versionOf,
  type TestService,
} from './service.fixture';

const folder = temporaryFolder(afterAll);
const EARLIER = randomUUID();
const SHEET = {
  methodErrors: [],
  flow: {
    treated: 1,
    contributed: 1,
    withoutConsent: 0,
    withoutEnd: 0,
    withoutStart: 0,
    withoutAge: 0,
    outsideLimits: 0,
    tooFewAlike: 0,
  },
};

describe('Who knows another epoch of the service than the one in force', () => {
  let service: TestService;
  let coordinator: string;
  let centre: string;
  beforeEach(async () => {
    service = await testService({ kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) });
    coordinator = (await service.enrolled('coordinator')).token;
    centre = (await service.enrolled('centre')).token;
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
  });
  afterEach(() => service.close());

  it('is refused whatever would be stored under a number that may mean another definition by now', async () => {
    const before = await service.store.read((reader) => reader.study());
    const batch = batchOf([versionOf(inventedRecord(1))]);
    for (const [name, input, token] of [
      ['push', batch, centre],
      ['push', batchOf([{ kind: 'withdrawal', pseudonym: 'a'.repeat(32) }]), centre],
      ['sheet', { definition: 1, sheet: SHEET }, centre],
      ['statistics', { replaces: null, statistics: null, withdrawn: 0 }, centre],
      ['publish', { basedOn: 1, definition: INVENTED_DEFINITION }, coordinator],
      ['definition', {}, centre],
    ] as const) {
      const reply = await service.ask(name, input, token, EARLIER);
      expect(reply, name).toMatchObject({ status: 409, reason: 'epoch-changed' });
    }
    expect(await service.store.read((reader) => reader.study())).toEqual(before);
    expect((await service.ask('push', batch, centre)).reason).toBe(null);
    expect(await service.ask('push', batch, centre, EARLIER)).toMatchObject({ reason: 'epoch-changed' });
  });

  it('may ask who it is, and learns the one in force', async () => {
    const { epoch } = await service.store.read((reader) => reader.study());
    expect(await service.ask('session', {}, centre, EARLIER)).toMatchObject({
      reason: null,
      data: { epoch },
    });
  });

  it('stores nothing without naming one, and is told so', async () => {
    for (const epoch of [undefined, 'none']) {
      const reply = await service.server.inject({
        method: 'POST',
        url: '/rpc/push',
        headers: {
          'content-type': 'application/json',
          [PROTOCOL_HEADER]: '1',
          ...(epoch === undefined ? {} : { [EPOCH_HEADER]: epoch }),
          authorization: `Bearer ${centre}`,
        },
        payload: JSON.stringify(batchOf([versionOf(inventedRecord(1))])),
      });
      expect(reply.statusCode).toBe(400);
      expect(reply.body).toMatch(/epoch/);
      expect(reply.body).toMatch(/wrong-input/);
    }
    expect((await service.ask('pull', { after: 0 }, centre)).data['changes']).toEqual([]);
  });
});

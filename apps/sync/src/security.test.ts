import { execFileSync } from 'node:child_process';
import { randomUUID } from 'node:crypto';
import { mkdtempSync, readdirSync, readFileSync } from 'node:fs';
import { Agent, request } from 'node:https';
import { join } from 'node:path';
import { BODY_LIMIT, PROCEDURES, PROTOCOL_HEADER, refusalCodeSchema } from '@longhold/core/exchange';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { ownThreadUnpacker } from './batch/unpacker';
import { createLog, silentLog } from './http/log';
import { isProcedure } from './http/router';
import { createService } from './http/server';
import { ownThread } from './pool/computer';
import {
  batchOf,
  INVENTED_DEFINITION,
  inventedRecord,
  openTestStore,
  quickDisk,
  temporaryFolder,
  testService,
  versionOf,
  type TestService,
} from './service.fixture';

const folder = temporaryFolder(afterAll, quickDisk());
const names = Object.keys(PROCEDURES).filter(isProcedure);
/** What a clinic might have typed anywhere; nothing of it is anybody's. */
const PLANTED = [
  'Plantedname',
  '1999-12-31',
  'planted.name@example.org',
  '../planted/film.dcm',
  'PLANTED-CODE-7',
];

async function sqliteService(home = folder): Promise<TestService> {
  return testService({ kind: 'sqlite', path: join(home, `${randomUUID()}.sqlite`) });
}

/** Posts a body as it is. */
function post(service: TestService, name: string, payload: string, token: string | null) {
  return service.server.inject({
    method: 'POST',
    url: `/rpc/${name}`,
    headers: {
      'content-type': 'application/json',
      [PROTOCOL_HEADER]: '1',
      ...(token === null ? {} : { authorization: `Bearer ${token}` }),
    },
    payload,
  });
}

function reasonOf(body: string): string | null {
  const reason: unknown = JSON.parse(body)?.error?.data?.reason;
  return typeof reason === 'string' ? reason : null;
}

describe('Whatever is sent to any procedure', () => {
  let service: TestService;
  const tokens = new Map<string, string>();
  beforeAll(async () => {
    service = await sqliteService();
    for (const role of ['coordinator', 'centre', 'reader'] as const) {
      tokens.set(role, (await service.enrolled(role)).token);
    }
    await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, tokens.get('coordinator'));
  });
  afterAll(() => service.close());

  /** The token of somebody who may ask it. */
  const tokenFor = (name: (typeof names)[number]): string | null => {
    const { roles } = PROCEDURES[name];
    return roles === 'anyone' ? null : (tokens.get(roles[0]) ?? null);
  };

  it('made-up JSON is refused as wrong input and changes nothing, and the refusal repeats nothing of it', async () => {
    const before = await service.store.read((reader) => reader.study());
    const madeUp = fc.oneof(
      fc.json({ maxDepth: 4 }),
      fc
        .dictionary(fc.constantFrom(...PLANTED, '__proto__', 'constructor', 'items'), fc.jsonValue())
        .map((value) => JSON.stringify(value)),
      fc.constantFrom(
        '{"__proto__":{"role":"coordinator"}}',
        '{"constructor":{"prototype":{"role":"coordinator"}}}',
        '['.repeat(5_000) + ']'.repeat(5_000),
        `${'{"a":'.repeat(5_000)}1${'}'.repeat(5_000)}`,
        '{"items":1e400}',
        '',
        'null',
        '\u0000',
        '{"batch":"x","batch":"y"}',
        `{"code":"${PLANTED[0]}"}`,
      ),
    );
    await fc.assert(
      fc.asyncProperty(fc.constantFrom(...names), madeUp, async (name, payload) => {
        const reply = await post(service, name, payload, tokenFor(name));
        const inputFits =
          PROCEDURES[name].input.safeParse(parsed(payload)).success ||
          (payload === '' && reply.statusCode === 200);
        if (inputFits) return;
        const reason = reasonOf(reply.body);
        expect(reason, `${name} ${payload.slice(0, 80)}`).toBe('wrong-input');
        for (const word of PLANTED) expect(reply.body).not.toContain(word);
      }),
      { numRuns: 400, seed: 77 },
    );
    expect(await service.store.read((reader) => reader.study())).toEqual(before);
    expect(Reflect.get({}, 'role')).toBe(undefined);
  });

  it('what is too large is refused before it is read, also from a stranger', async () => {
    for (const name of names) {
      const large = `"${'x'.repeat(BODY_LIMIT)}"`;
      const reply = await post(service, name, large, tokenFor(name));
      expect(reasonOf(reply.body), name).toBe('too-large');
      if (PROCEDURES[name].roles === 'anyone') continue;
      expect(reasonOf((await post(service, name, large, null)).body), name).toBe('not-signed-in');
    }
  });

  it('every refusal is of the closed list, and no answer may be kept by a cache between', async () => {
    for (const name of names) {
      for (const token of [null, 'B'.repeat(43), 'no token', tokens.get('reader') ?? null]) {
        const reply = await post(service, name, '{"madeUp":1}', token);
        expect(refusalCodeSchema.options).toContain(reasonOf(reply.body));
        expect(reply.headers['cache-control']).toBe('no-store');
        expect(reply.headers['x-powered-by']).toBe(undefined);
      }
    }
  });
});

function parsed(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}

it("One centre's token neither reads nor changes what is another's, by any procedure", async () => {
  const service = await sqliteService();
  const { token: coordinator } = await service.enrolled('coordinator');
  const own = await service.enrolled('centre');
  const other = await service.enrolled('centre');
  await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
  const item = versionOf(inventedRecord(1));
  const batch = batchOf([item]);
  await service.ask('push', batch, own.token);
  const { pseudonym } = item.record;
  // The same pseudonym, key or version under another token is another patient of another centre.
  const replayed = await service.ask('push', batch, other.token);
  expect(replayed.data['items']).toMatchObject([{ kind: 'stored' }]);
  await service.ask('push', batchOf([{ kind: 'withdrawal', pseudonym }]), other.token);
  const mine = await service.ask('pull', { after: 0 }, own.token);
  expect([mine.data['changes']].flat()).toMatchObject([
    { kind: 'record', version: item.version, member: own.member },
  ]);
  const foreign = [
    await service.ask('pull', { after: 0, of: 'all' }, other.token),
    await service.ask('invite', { role: 'centre', member: own.member }, other.token),
    await service.ask('invite', { role: 'reader', member: null }, other.token),
    await service.ask('revoke', { kind: 'device', device: own.device }, other.token),
    await service.ask('revoke', { kind: 'member', member: own.member }, other.token),
    await service.ask('removeMember', { member: own.member }, other.token),
    await service.ask('removeMember', { member: other.member }, other.token),
    await service.ask('publish', { basedOn: 1, definition: INVENTED_DEFINITION }, other.token),
    await service.ask('audit', {}, other.token),
  ];
  expect(foreign.map(({ reason }) => reason)).toEqual(foreign.map(() => 'not-allowed'));
  const { data } = await service.ask('devices', {}, other.token);
  expect(JSON.stringify(data)).not.toContain(own.member);
  expect((await service.ask('session', {}, own.token)).reason).toBe(null);
  await service.close();
});

it('Identifying words planted in every field of a batch reach neither store nor log nor refusal', async () => {
  const home = mkdtempSync(join(folder, 'planted-'));
  const service = await sqliteService(home);
  const { token: coordinator } = await service.enrolled('coordinator');
  const { token } = await service.enrolled('centre');
  await service.ask('publish', { basedOn: 0, definition: INVENTED_DEFINITION }, coordinator);
  const good = batchOf([versionOf(inventedRecord(1))]);
  expect((await service.ask('push', good, token)).reason).toBe(null);
  let told = '';
  let refused = 0;
  for (const word of PLANTED) {
    for (const planted of plantings(batchOf([versionOf(inventedRecord(2))]), word)) {
      const reply = await post(service, 'push', JSON.stringify(planted), token);
      expect(reply.statusCode).toBeGreaterThanOrEqual(400);
      told += reply.body;
      refused++;
    }
    told += (await post(service, word, '{}', token)).body;
    told += (await post(service, 'session', '{}', word)).body;
  }
  expect(refused).toBeGreaterThan(100);
  const bytes = readdirSync(home).map((name) => readFileSync(join(home, name), 'latin1'));
  const everything = [told, service.logged(), ...bytes].join('\n');
  for (const word of PLANTED) expect(everything).not.toContain(word);
  expect(everything).not.toContain(token);
  await service.close();
});

/** Copies of a value, each with a word in another place: as a value, as a further key, or in place of a number. */
function plantings(value: unknown, word: string): unknown[] {
  if (Array.isArray(value)) {
    const deeper = value.flatMap((member, at) =>
      plantings(member, word).map((made) => value.map((kept, place) => (place === at ? made : kept))),
    );
    return [[...value, word], ...deeper];
  }
  if (value === null || typeof value !== 'object') return [word, { [word]: word }];
  const deeper = Object.entries(value).flatMap(([key, member]) =>
    plantings(member, word).map((made) => ({ ...value, [key]: made })),
  );
  return [{ ...value, [word]: 1 }, { ...value, note: word }, ...deeper];
}

describe('The service at its edge', () => {
  const options = async () => ({
    store: await openTestStore({ kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) }),
    now: () => new Date('2026-03-10T10:00:00Z'),
    log: silentLog,
    computer: ownThread,
    unpacker: ownThreadUnpacker,
    tls: null,
    trustProxy: false,
    requestsAMinute: 5,
    enrolmentsAMinute: 2,
  });
  const enrolFrom = (address: string, forwarded: string) => ({
    method: 'POST' as const,
    url: '/rpc/enrol',
    remoteAddress: address,
    headers: { 'content-type': 'application/json', [PROTOCOL_HEADER]: '1', 'x-forwarded-for': forwarded },
    payload: { code: 'AAAAAA-AAAAAA-AAAAAA-AAAAAA' },
  });

  it('slows down who guesses codes, by address, and believes a forwarded address only of a proxy it was told to trust', async () => {
    for (const trustProxy of [false, true]) {
      const given = await options();
      const server = await createService({ ...given, trustProxy });
      const reasons: (string | null)[] = [];
      for (let attempt = 0; attempt < 4; attempt++) {
        const reply = await server.inject(enrolFrom('10.0.0.1', `10.9.9.${attempt}`));
        reasons.push(reasonOf(reply.body));
      }
      const slowed = ['code-unknown', 'code-unknown', 'too-many-requests', 'too-many-requests'];
      expect(reasons).toEqual(trustProxy ? reasons.map(() => 'code-unknown') : slowed);
      // What a stranger writes into the header stands before what the proxy saw.
      const disguised: (string | null)[] = [];
      for (let attempt = 0; attempt < 3; attempt++) {
        const reply = await server.inject(enrolFrom('10.0.0.3', `10.7.7.${attempt}, 203.0.113.5`));
        disguised.push(reasonOf(reply.body));
      }
      expect(disguised.at(-1)).toBe('too-many-requests');
      const elsewhere = await server.inject(enrolFrom('10.0.0.2', '10.8.8.8'));
      expect(reasonOf(elsewhere.body)).toBe('code-unknown');
      await server.close();
      await given.store.close();
    }
  });

  it('speaks TLS with the certificate it was given, from version 1.2 on', async () => {
    const key = join(folder, 'key.pem');
    const certificate = join(folder, 'certificate.pem');
    const words =
      'req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost -addext subjectAltName=DNS:localhost';
    execFileSync('openssl', [...words.split(' '), '-keyout', key, '-out', certificate], { stdio: 'ignore' });
    const pem = readFileSync(certificate, 'utf8');
    const given = await options();
    let logged = '';
    const log = createLog({ write: (line: string) => void (logged += line) });
    const server = await createService({
      ...given,
      log,
      tls: { certificate: pem, key: readFileSync(key, 'utf8') },
    });
    await server.listen({ host: '127.0.0.1', port: 0 });
    const address = server.server.address();
    const port = typeof address === 'object' && address !== null ? address.port : 0;
    const ask = (tls: ConstructorParameters<typeof Agent>[0]): Promise<string> =>
      new Promise((resolve) => {
        const agent = new Agent({ ...tls, keepAlive: false });
        const sent = request(
          {
            host: 'localhost',
            port,
            path: '/rpc/protocol',
            method: 'POST',
            agent,
            lookup: (_name, _options, done) => done(null, [{ address: '127.0.0.1', family: 4 }]),
            headers: { 'content-type': 'application/json', [PROTOCOL_HEADER]: '1' },
          },
          (reply) => {
            let body = '';
            reply.setEncoding('utf8').on('data', (text: string) => (body += text));
            reply.on('end', () => resolve(body));
          },
        );
        sent.on('error', (fault) => resolve(`failed ${String(Reflect.get(fault, 'code'))}`)).end('{}');
      });
    expect(await ask({ ca: pem })).toContain('"newest":');
    expect(await ask({})).toMatch(/^failed (DEPTH_ZERO_)?SELF_SIGNED/);
    expect(await ask({ ca: pem, minVersion: 'TLSv1.1', maxVersion: 'TLSv1.1' })).toMatch(/^failed/);
    expect(logged).toContain('"procedure":"protocol"');
    await server.close();
    await given.store.close();
  });
});

import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { canonicalRecord } from '@longhold/core/contribution';
import { OpenStudy } from '@longhold/desktop/host/open-study';
import { createStore } from '@longhold/desktop/host/store';
import { importOf, storeOptions, temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { verifyStore } from '../../apps/sync/src/command/verify';
import { testService, type TestService } from '../../apps/sync/src/service.fixture';
import { DEFINITION } from '../pooling/programs';
import { longer, patientsFrom, withoutConsent } from './programs/pool-patients';

const folder = temporaryFolder(afterAll);
const NOW = new Date('2026-03-10T10:00:00Z');
/** Years by which the clocks are off, one pair after another: the service's, and the clinic's. */
const JUMPS: readonly (readonly [number, number])[] = [
  [0, 0],
  [30, 1],
  [-8, 3],
  [1, 2],
  [0, 8],
  [-15, 1],
  [12, 20],
  [0, 0],
];

let service: TestService;
let address: string;
let coordinator: string;
let clock = NOW;
const opened: { close(): Promise<void> }[] = [];
afterAll(async () => {
  for (const one of opened.reverse()) await one.close();
});

beforeEach(async () => {
  service = await testService({ kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) });
  opened.push(service);
  address = await service.server.listen({ host: '127.0.0.1', port: 0 });
  coordinator = (await service.enrolled('coordinator')).token;
  await service.ask('publish', { basedOn: 0, definition: DEFINITION }, coordinator);
  setClocks(0, 0);
});

/** Sets the service's clock and the clinic's by whole years. */
function setClocks(ofService: number, ofClinic: number): void {
  service.setClock(jumped(ofService));
  clock = jumped(ofClinic);
}

function jumped(years: number): Date {
  const moved = new Date(NOW);
  moved.setUTCFullYear(NOW.getUTCFullYear() + years);
  return moved;
}

async function newCode(): Promise<string> {
  return String((await service.ask('invite', { role: 'centre', member: null }, coordinator)).data['code']);
}

async function linkedClinic(): Promise<OpenStudy> {
  const store = await createStore(storeOptions(join(folder, `${randomUUID()}.longhold`)));
  await store.applyImport(importOf([], patientsFrom(0, 12)));
  const open = new OpenStudy(store, null, () => clock, 'test');
  opened.push(open);
  await open.pooling.link(address, await newCode());
  return open;
}

async function send({ pooling }: OpenStudy): Promise<void> {
  const preview = await pooling.preview();
  await pooling.startSend(preview?.digest ?? '');
  expect(await pooling.finished()).toMatchObject({ state: 'done' });
}

async function change(open: OpenStudy, make: typeof longer, count: number): Promise<void> {
  const from = await open.store.readStudy();
  const some = from.filter(({ patient }) => patient.consentPooling).slice(0, count);
  await open.store.applyImport(importOf(from, some.map(make)));
}

/** Records at the service, in one order. */
async function held(): Promise<string[]> {
  const { records, faults } = await verifyStore(service.store);
  expect(faults).toEqual([]);
  const { data } = await service.ask('devices', {}, coordinator);
  const members: unknown[] = Object.values(Object(data['devices'])).map((one) =>
    Reflect.get(Object(one), 'member'),
  );
  const bodies = await service.store.read(async (reader) =>
    Promise.all([...new Set(members)].map((member) => reader.headsAfter(String(member), 0, 1_000))),
  );
  const all = bodies.flat().map(({ body }) => canonicalRecord(JSON.parse(body)));
  expect(all).toHaveLength(records);
  return all.sort();
}

/** What the clinic would have at the service once everything was sent. */
async function wanted({ pooling }: OpenStudy): Promise<string[]> {
  const { digest = '' } = (await pooling.preview()) ?? {};
  const page = { digest, standing: null, search: '', offset: 0, limit: Infinity };
  return (await pooling.records(page)).rows.map(({ record }) => canonicalRecord(record)).sort();
}

async function tokenOf({ store }: OpenStudy): Promise<string | undefined> {
  return (await store.readPooling()).book.link.get('link')?.token;
}

describe('An enrolment code', () => {
  it.each([
    ['a moment before seven days are over', 7 * 86_400_000 - 1, null],
    ['when seven days are over', 7 * 86_400_000, 'code-expired'],
    ['years later', 20 * 365 * 86_400_000, 'code-expired'],
    ['with the clock set years back', -9 * 365 * 86_400_000, null],
  ])('%s by the service’s clock is answered as documented', async (_when, later, reason) => {
    const code = await newCode();
    service.setClock(new Date(NOW.getTime() + later));
    expect((await service.ask('enrol', { code })).reason).toBe(reason);
  });

  it('that expired while the clock was wrong works once the clock is right, and only once', async () => {
    const code = await newCode();
    setClocks(30, 0);
    expect((await service.ask('enrol', { code })).reason).toBe('code-expired');
    setClocks(0, 0);
    expect((await service.ask('enrol', { code })).reason).toBeNull();
    expect((await service.ask('enrol', { code })).reason).toBe('code-used');
  });
});

describe('With the clocks of service and clinic set years ahead and back', () => {
  it('all is sent, changed and withdrawn as with steady ones, and tokens are replaced without locking anyone out', async () => {
    const open = await linkedClinic();
    let withdrawn = 0;
    const tokens = new Set<string | undefined>();
    for (const [index, [ofService, ofClinic]] of JUMPS.entries()) {
      setClocks(ofService, ofClinic);
      await change(open, longer, 5);
      if (index % 2 === 1) {
        await change(open, withoutConsent, 1);
        withdrawn++;
      }
      await send(open);
      const there = await held();
      expect(there.length).toBeGreaterThan(5);
      expect(there).toEqual(await wanted(open));
      expect((await verifyStore(service.store)).withdrawn).toBe(withdrawn);
      tokens.add(await tokenOf(open));
    }
    expect(await open.pooling.withdrawals()).toHaveLength(withdrawn);
    // Each jump of the clinic's clock makes the token too old, or one of the future.
    expect(tokens.size).toBe(JUMPS.length);
  });

  it('nothing is sent that was not shown: years that seem to have passed are a change to be confirmed', async () => {
    const open = await linkedClinic();
    await send(open);
    const before = await held();
    setClocks(0, 4);
    await open.pooling.startCheck();
    await open.pooling.finished();
    expect(await held()).toEqual(before);
    expect((await open.pooling.preview())?.counts.changed).toBeGreaterThan(0);
    setClocks(0, 0);
    expect((await open.pooling.preview())?.counts).toMatchObject({ new: 0, changed: 0, conflict: 0 });
  });

  it('a clinic whose clock stands before its patients were treated sends and withdraws nothing by itself', async () => {
    const open = await linkedClinic();
    await send(open);
    const before = await held();
    expect(before.length).toBeGreaterThan(5);
    setClocks(0, -30);
    await open.pooling.startCheck();
    expect(await open.pooling.finished()).toMatchObject({ state: 'done' });
    expect(await held()).toEqual(before);
    expect(await open.pooling.withdrawals()).toEqual([]);
    expect((await open.pooling.preview())?.heldBack).toHaveLength(before.length);
  });

  it('a batch that the service has is answered as before, whatever year it is there', async () => {
    const open = await linkedClinic();
    await send(open);
    const { book } = await open.store.readPooling();
    const link = book.link.get('link');
    const [[pseudonym = '', head] = []] = [...book.head];
    const item = { kind: 'record', basedOn: null, version: head?.version, record: head?.record };
    for (const years of [25, -20, 0]) {
      setClocks(years, 0);
      const again = { batch: randomUUID(), definition: 1, items: [item] };
      const { data } = await service.ask('push', again, link?.token);
      expect(data['items']).toEqual([{ kind: 'already-stored', pseudonym, sequence: head?.sequence }]);
    }
  });
});

import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { canonicalRecord } from '@longhold/core/contribution';
import { generateDemo } from '@longhold/demo';
import { temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { backUp, restore } from '../../apps/sync/src/command/backup';
import { openTestStore, testService, type TestService } from '../../apps/sync/src/service.fixture';
import { DEFINITION } from '../pooling/programs';
import { bentService, type Bent, type BentService } from './bent-service';
import { clinicInMemory, heldBy, type ClinicInMemory } from './clinic-in-memory';

const folder = temporaryFolder(afterAll);
const demo = generateDemo({ seed: 8, patients: 24 });
const opened: { close(): unknown }[] = [];
afterAll(async () => {
  for (const one of opened) await one.close();
});

let bent: BentService;
let coordinator: string;
let clinic: ClinicInMemory;
let member: string;

async function started(path = join(folder, `${randomUUID()}.sqlite`)): Promise<TestService> {
  const service = await testService({ kind: 'sqlite', path });
  opened.push(service);
  return service;
}

beforeEach(async () => {
  bent = await bentService(await started());
  opened.push(bent);
  coordinator = (await bent.behind.enrolled('coordinator')).token;
  await bent.behind.ask('publish', { basedOn: 0, definition: DEFINITION }, coordinator);
  const { data } = await bent.behind.ask('invite', { role: 'centre', member: null }, coordinator);
  member = String(data['member']);
  clinic = await clinicInMemory(join(folder, `${randomUUID()}.longhold`), {
    address: bent.address,
    code: String(data['code']),
    study: demo.study,
    today: demo.today,
  });
  opened.push(clinic);
  await clinic.exchange();
});

const failure = async (): Promise<{ code: unknown; message: string }> =>
  clinic.exchange().then(
    () => ({ code: null, message: '' }),
    (thrown: unknown) => ({ code: Reflect.get(Object(thrown), 'code'), message: String(thrown) }),
  );

/** What waits, and what was taken as acknowledged or withdrawn. */
async function waiting(): Promise<unknown> {
  const { outbox, sheet, withdrawal, sent } = await clinic.book();
  return { outbox, sheet, withdrawal, sent };
}

/** The same with all that is known of patients at the service. */
async function standing(): Promise<unknown> {
  const { head, link } = await clinic.book();
  return [await waiting(), head, link.get('link')?.cursor];
}

/** Once the service is good again all is there, though it may have been stored before the bad answer already. */
async function expectWholeAfterwards(): Promise<void> {
  bent.bend = null;
  await clinic.exchange();
  await clinic.confirm();
  await clinic.exchange();
  const records = (await clinic.outgoing())?.contribution.records ?? [];
  expect(records.length).toBeGreaterThan(15);
  expect(await heldBy(bent.behind, member)).toEqual(records.map(canonicalRecord).sort());
  const { outbox, sheet, withdrawal } = await clinic.book();
  expect([outbox.size, sheet.has('waiting'), withdrawal.size]).toEqual([0, false, 0]);
}

/** Answers one procedure otherwise. */
function bend(name: string, otherwise: (data: Record<string, unknown>) => Bent): void {
  bent.bend = (asked, data) => (asked === name ? otherwise(data) : null);
}

const itemsOf = (data: Record<string, unknown>): Record<string, unknown>[] => {
  const { items } = data;
  return Array.isArray(items) ? items : [];
};
const RECEIPT = { id: randomUUID(), sequence: 1, versionsRemoved: 1, month: '2026-03' };

describe('A clinic whose service answers what no service may', () => {
  it.each<[string, (items: Record<string, unknown>[]) => unknown[]]>([
    ['nothing of the batch', () => []],
    ['one item too few', (items) => items.slice(1)],
    ['one item too many', (items) => [...items, ...items.slice(0, 1)]],
    ['the items in another order', (items) => [...items].reverse()],
    ['other patients', (items) => items.map((item) => ({ ...item, pseudonym: 'f'.repeat(32) }))],
    [
      'that records were withdrawn',
      (items) => items.map(({ pseudonym }) => ({ kind: 'withdrawn', pseudonym, receipt: RECEIPT })),
    ],
  ])('of a batch: %s, takes nothing of it and keeps what waits', async (_what, otherwise) => {
    await clinic.confirm();
    const before = await standing();
    bend('push', (data) => ({ data: { ...data, items: otherwise(itemsOf(data)) } }));
    const { code, message } = await failure();
    expect(code).toBe('unreachable');
    expect(message).toMatch(
      /not one to what was sent\. Nothing of that answer was taken, and what waits is kept/,
    );
    expect(await standing()).toEqual(before);
    expect(bent.asked).not.toContain('sheet');
    await expectWholeAfterwards();
  });

  it('another batch, takes nothing of it', async () => {
    await clinic.confirm();
    const before = await standing();
    bend('push', (data) => ({ data: { ...data, batch: randomUUID() } }));
    expect((await failure()).code).toBe('unreachable');
    expect(await standing()).toEqual(before);
    await expectWholeAfterwards();
  });

  it('that all were withdrawn before, withdraws nobody, says how many and asks what to do', async () => {
    await clinic.confirm();
    const patients = (await clinic.outgoing())?.contribution.records.length;
    bend('push', (data) => ({
      data: { ...data, items: itemsOf(data).map(({ pseudonym }) => ({ kind: 'gone', pseudonym })) },
    }));
    const { code, message } = await failure();
    expect(code).toBe('not-allowed');
    expect(message).toContain(`took nothing of them: ${patients}.`);
    expect(message).toMatch(/Nobody withdrew them at this desktop.*ask whoever runs the service/);
    expect((await clinic.book()).withdrawal.size).toBe(0);
    expect(bent.asked).not.toContain('sheet');
    await expectWholeAfterwards();
  });

  it.each<[string, (data: Record<string, unknown>) => unknown]>([
    ['that there is more and never what', (data) => ({ ...data, changes: [], next: 0, more: true })],
    [
      'that there is more, ever further on',
      (data) => ({ ...data, changes: [], next: bent.asked.length, more: true }),
    ],
    [
      'with withdrawals of strangers',
      (data) => ({
        ...data,
        changes: [{ kind: 'withdrawal', sequence: 1, member: randomUUID(), tombstone: 'a'.repeat(64) }],
      }),
    ],
  ])('its own changes %s, stops reading and says so', async (_what, otherwise) => {
    await clinic.confirm();
    const before = await standing();
    const asked = bent.asked.length;
    bend('pull', (data) => ({ data: otherwise(data) }));
    expect((await failure()).code).toBe('unreachable');
    expect(bent.asked.length - asked).toBeLessThan(6);
    expect(await standing()).toEqual(before);
    await expectWholeAfterwards();
  });

  it('garbage, or a body without end, to any question, loses nothing', async () => {
    await clinic.confirm();
    const before = await waiting();
    const bodies: Bent[] = [
      { raw: ['no JSON'] },
      { raw: [''] },
      { raw: ['{"result":{}}'] },
      { data: { madeUp: 1 } },
      { data: [] },
    ];
    for (const name of ['session', 'pull', 'push']) {
      for (const body of bodies) {
        bend(name, () => body);
        expect((await failure()).code, name).toBe('unreachable');
        expect(await waiting(), name).toEqual(before);
      }
    }
    const mebibyte = ' '.repeat(2 ** 20);
    bend('session', () => ({ raw: Array.from({ length: 66 }, () => mebibyte) }));
    expect((await failure()).message).toMatch(/more than any answer of the protocol holds/);
    expect(await waiting()).toEqual(before);
    await expectWholeAfterwards();
  });

  it('that it is of another study, sends nothing to it', async () => {
    await clinic.confirm();
    const before = await standing();
    bend('session', (data) => ({ data: { ...data, study: randomUUID() } }));
    expect((await failure()).message).toMatch(/belongs to another study/);
    expect(bent.asked).not.toContain('push');
    expect(await standing()).toEqual(before);
    await expectWholeAfterwards();
  });
});

describe('A clinic whose service was restored, and has another definition under the number that the clinic confirmed', () => {
  const weak = { ...DEFINITION, coarsening: { ...DEFINITION.coarsening, smallestGroup: 1, dayStep: 1 } };
  const strict = { ...DEFINITION, coarsening: { ...DEFINITION.coarsening, smallestGroup: 10, dayStep: 14 } };

  async function backUpNow(): Promise<string> {
    const file = join(folder, `${randomUUID()}.backup`);
    await backUp(bent.behind.store, file);
    return file;
  }
  async function restored(file: string): Promise<void> {
    const path = join(folder, `${randomUUID()}.sqlite`);
    const fresh = await openTestStore({ kind: 'sqlite', path });
    await restore(fresh, file, () => new Date('2026-03-10T10:00:00Z'));
    await fresh.close();
    bent.behind = await started(path);
  }
  const publish = (basedOn: number, definition: unknown) =>
    bent.behind.ask('publish', { basedOn, definition }, coordinator);

  it.each([
    ['before it sent', false],
    ['after it had sent', true],
  ])('%s, sends nothing that was made under the other one, and shows the new one', async (_when, isSent) => {
    const file = await backUpNow();
    await publish(1, weak);
    await clinic.exchange();
    await clinic.confirm();
    if (isSent) await clinic.exchange();
    await restored(file);
    expect((await publish(1, strict)).reason).toBe(null);
    const said = await failure();
    if (!isSent) expect(said).toMatchObject({ code: 'definition-outdated' });
    expect(await heldBy(bent.behind, member)).toEqual([]);
    const { outbox, sheet, definition } = await clinic.book();
    expect([outbox.size, sheet.size]).toEqual([0, 0]);
    expect([...definition.keys()]).toEqual(['2']);
    expect(definition.get('2')?.coarsening).toMatchObject({ smallestGroup: 10, dayStep: 14 });
    await expectWholeAfterwards();
    const held = await heldBy(bent.behind, member);
    for (const record of held)
      for (const { day } of JSON.parse(record).visits) expect(Math.abs(day % 14)).toBe(0);
  });
});

describe('A clinic that is given a definition which asks the same of it', () => {
  it('sends its sheet alone, and reads before what changed and that confirming is agreeing', async () => {
    await clinic.confirm();
    await clinic.exchange();
    const alike = { ...DEFINITION, threshold: { kind: 'share', share: 0.4 }, years: [2] };
    await bent.behind.ask('publish', { basedOn: 1, definition: alike }, coordinator);
    await clinic.exchange();
    const made = await clinic.outgoing();
    expect([made?.changes.fresh.length, made?.changes.changed.length]).toEqual([0, 0]);
    expect(made?.changes.unchanged.length).toBe(made?.contribution.records.length);
    expect(made?.sheetIsNew).toBe(true);
    const words = (await clinic.changes()).join(' ');
    expect(words).toMatch(/The gain stays while there is left: "At least 40.% of it" in place of/);
    expect(words).toMatch(/no record is sent again.*only the sheet.*agrees to this version/);
    const before = bent.asked.length;
    await clinic.confirm();
    await clinic.exchange();
    const asked = bent.asked.slice(before);
    expect(asked).toContain('sheet');
    expect(asked).not.toContain('push');
  });
});

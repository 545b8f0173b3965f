import { join } from 'node:path';
import { TRPCError } from '@trpc/server';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { callRouter } from '../call-router';
import { Host } from '../host';
import { hostOptions, makeFolder, makeHost, PASSPHRASE, TEXTS } from '../host.fixture';
import type { OpenStudy } from '../open-study';
import { failureOf } from '../trpc';
import { appRouter } from './router';

let folder: string;
let remove: () => void;
let host: Host;

beforeEach(() => {
  ({ folder, remove } = makeFolder());
  host = makeHost(folder);
});
afterEach(async () => {
  await host.close();
  remove();
});

const call = (of: Host = host) => appRouter.createCaller({ host: of });

/** The reason and the sentence with which a call was refused. */
async function refusal(asked: Promise<unknown>) {
  const thrown: unknown = await asked.then(
    () => new Error('the call was not refused'),
    (reason: unknown) => reason,
  );
  if (!(thrown instanceof TRPCError)) throw thrown;
  const { reason, message } = failureOf(thrown);
  return { reason, message };
}

describe('without an open store', () => {
  it('the session says so, and says where stores usually lie', async () => {
    expect(await call().session.state()).toEqual({ version: '0.0.0', store: null });
    expect(await call().session.defaults()).toEqual({ folder: join(folder, 'stores'), existing: [] });
  });

  it('every call about records is refused with the same reason', async () => {
    const asked = [
      call().records.preview(TEXTS),
      call().records.write(TEXTS),
      call().recall.list(),
      call().recall.recordEvent({ code: 'P1', date: '2026-01-01', event: 'moved' }),
      call().methods.errors(),
      call().outcomes.start({}),
      call().outcomes.poll({ job: 'x' }),
      call().outcomes.stop({ job: 'x' }),
      call().outcomes.patients({ job: 'x' }),
      call().outcomes.patient({ job: 'x', code: 'P1' }),
      call().report.start({ question: {}, withPool: true }),
      call().pooling.state(),
      call().pooling.preview(),
      call().pooling.send({ digest: 'a'.repeat(64) }),
    ];
    for (const one of asked) expect((await refusal(one)).reason).toBe('no-store-open');
  });

  it('a relative path is refused, because it would mean another file elsewhere', async () => {
    const { reason } = await refusal(
      call().session.create({ path: 'clinic.longhold', passphrase: PASSPHRASE }),
    );
    expect(reason).toBe('invalid-input');
  });
});

describe('with a store of its own', () => {
  let path: string;
  beforeEach(async () => {
    path = join(folder, 'stores', 'clinic.longhold');
    await call().session.create({ path, passphrase: PASSPHRASE });
  });

  it('the usual folder was made for it, and shows it', async () => {
    expect((await call().session.defaults()).existing).toEqual([path]);
  });

  it('a preview counts what an import would add and changes nothing; writing adds just that', async () => {
    const preview = await call().records.preview(TEXTS);
    expect(preview).toMatchObject({ applied: false, faults: [] });
    expect((await call().session.state()).store).toMatchObject({ treated: 0, visits: 0 });
    const written = await call().records.write(TEXTS);
    expect(written).toEqual({ ...preview, applied: true });
    const { store } = await call().session.state();
    expect(store).toMatchObject({ name: 'clinic', demo: false, today: '2026-06-30', treated: 10 });
  });

  it('a growth table is imported, can be asked for, is listed, and is removed again', async () => {
    const growthTables = [
      'table,measure,sex,age_years,mean,sd,n,film_factor,source',
      ...[8, 10, 12, 14, 16].map((age) => `Oak,Co-Gn,female,${age},${100 + 2 * age},5,40,0.9,invented`),
    ].join('\n');
    const none = { patients: null, measurements: null, events: null };
    const written = await call().records.write({ ...none, growthTables });
    expect(written.changes?.growthTables).toEqual({ added: 1, changed: 0, unchanged: 0 });
    expect(await call().growthTables.list()).toMatchObject([
      { name: 'Oak', measure: 'Co-Gn', filmFactor: 0.9 },
    ]);
    expect((await call().session.state()).store?.growthTables).toEqual([{ name: 'Oak', measure: 'Co-Gn' }]);
    const again = await call().records.write({ ...none, growthTables });
    expect(again.changes?.growthTables).toEqual({ added: 0, changed: 0, unchanged: 1 });
    const replaced = await call().records.write({
      ...none,
      growthTables: growthTables.replaceAll('0.9,', '0.92,'),
    });
    expect(replaced.changes?.growthTables).toEqual({ added: 0, changed: 1, unchanged: 0 });
    await call().growthTables.remove({ name: 'Oak', measure: 'Co-Gn' });
    expect(await call().growthTables.list()).toEqual([]);
  });

  it('faulty files change nothing and come back with all faults', async () => {
    const faulty = { ...TEXTS, patients: TEXTS.patients.replace(',female,', ',girl,') };
    const { applied, faults, changes } = await call().records.write(faulty);
    expect({ applied, changes }).toEqual({ applied: false, changes: null });
    expect(faults.map(({ column, value }) => [column, value])).toEqual([['sex', 'girl']]);
    expect((await call().session.state()).store).toMatchObject({ treated: 0 });
  });

  it('an event is written once, under the checks of an import, and seen by the recall list at once', async () => {
    await call().records.write(TEXTS);
    const row = (await call().recall.list()).rows.find(
      ({ state }) => state === 'upcoming' || state === 'due',
    );
    const event = { code: row?.code ?? '', date: '2026-06-29', event: 'moved' } as const;
    await call().recall.recordEvent(event);
    const before = (await call().session.state()).store?.revision;
    await call().recall.recordEvent(event);
    expect((await call().session.state()).store?.revision).toBe(before);
    const after = (await call().recall.list()).rows.find(({ code }) => code === event.code);
    expect(after).toMatchObject({ state: 'stopped', why: 'moved away on 2026-06-29' });
    const unknown = await refusal(call().recall.recordEvent({ ...event, code: 'nobody' }));
    expect(unknown.reason).toBe('unknown-patient');
  });

  it('it stays open when another one cannot be opened, and opens again only with its passphrase', async () => {
    const missing = call().session.open({ path: join(folder, 'none.longhold'), passphrase: PASSPHRASE });
    expect((await refusal(missing)).reason).toBe('store-missing');
    expect((await call().session.state()).store).toMatchObject({ path });
    await call().session.close();
    const wrong = call().session.open({ path, passphrase: 'another long passphrase' });
    expect((await refusal(wrong)).reason).toBe('wrong-passphrase');
    expect((await call().session.state()).store).toBeNull();
    await call().session.open({ path, passphrase: PASSPHRASE });
    expect((await call().session.state()).store).toMatchObject({ path });
  });

  it('a measure that the catalogue lacks is refused before anything is computed', async () => {
    for (const asked of [
      call().outcomes.start({ measure: 'Xx-Yy' }),
      call().report.start({ question: { measure: 'Xx-Yy' }, withPool: true }),
    ]) {
      expect(await refusal(asked)).toMatchObject({
        reason: 'invalid-input',
        message: expect.stringContaining('measure: a code of the catalogue'),
      });
    }
  });

  it('a job that nobody started is not known', async () => {
    expect((await refusal(call().outcomes.poll({ job: 'answer-99' }))).reason).toBe('unknown-job');
  });
});

describe('the demo', () => {
  it('is marked as such, is looked at on its own day, and takes no records', async () => {
    await call().session.openDemo();
    expect((await call().session.state()).store).toMatchObject({
      demo: true,
      today: '2026-06-30',
      treated: 120,
    });
    expect((await refusal(call().records.write(TEXTS))).reason).toBe('demo-is-fixed');
  });
});

describe('what leaves the host when something fails', () => {
  it('an input that does not fit is named by its field, never by its value', async () => {
    const { reason, message } = await refusal(
      call().session.open({ path: 'A secret place', passphrase: '' }),
    );
    expect(reason).toBe('invalid-input');
    expect(message).toContain('passphrase');
    expect(message).not.toContain('secret');
  });

  it('a fault nobody foresaw leaves as a fixed sentence without its own words', async () => {
    class Broken extends Host {
      override get open(): OpenStudy | null {
        throw new Error('SELECT name FROM patients -- secret');
      }
      override requireOpen(): OpenStudy {
        throw new Error('SELECT name FROM patients -- secret');
      }
    }
    const broken = new Broken(hostOptions(folder));
    for (const path of ['recall.list', 'session.state']) {
      const result = await callRouter(broken, { path, type: 'query', input: null });
      expect(result).toMatchObject({ ok: false, error: { reason: 'internal' } });
      expect(JSON.stringify(result)).not.toMatch(/secret|SELECT|stack/);
    }
  });
});

describe('saved views', () => {
  const view = { name: 'Plates, 2 mm', address: '#/outcomes/lasts?measure=Co-Gn&threshold=2mm&protocol=A' };

  it('are kept in the store, replaced under the same name, and taken away', async () => {
    const path = join(folder, 'views.longhold');
    await call().session.create({ path, passphrase: PASSPHRASE });
    await call().views.save(view);
    await call().views.save({ ...view, address: '#/outcomes/kept?measure=SNB' });
    await call().session.close();
    await call().session.open({ path, passphrase: PASSPHRASE });
    expect(await call().views.list()).toEqual([{ ...view, address: '#/outcomes/kept?measure=SNB' }]);
    await call().views.remove({ name: view.name });
    expect(await call().views.list()).toEqual([]);
  });

  it('take another name, and the place of the view that has it', async () => {
    await call().session.openDemo();
    await call().views.save({ name: 'First', address: '#/outcomes/kept' });
    await call().views.save({ name: 'Second', address: '#/outcomes/grown' });
    await call().views.rename({ from: 'First', to: 'Third' });
    expect((await call().views.list()).map(({ name }) => name)).toEqual(['Second', 'Third']);
    await call().views.rename({ from: 'Third', to: 'Second' });
    expect(await call().views.list()).toEqual([{ name: 'Second', address: '#/outcomes/kept' }]);
    await call().views.rename({ from: 'Nobody', to: 'Second' });
    expect(await call().views.list()).toEqual([{ name: 'Second', address: '#/outcomes/kept' }]);
  });

  it('do not make the records be read again', async () => {
    await call().session.openDemo();
    const before = (await host.requireOpen().study()).study;
    await call().views.save(view);
    expect((await host.requireOpen().study()).study).toBe(before);
  });

  it.each([
    [{ ...view, name: ' ' }],
    [{ ...view, address: 'javascript:alert(1)' }],
    [{ ...view, address: '#/settings' }],
  ])('are refused where they would lead elsewhere or have no name: %j', async (wrong) => {
    await call().session.openDemo();
    expect((await refusal(call().views.save(wrong))).reason).toBe('invalid-input');
  });
});

describe('calls between processes', () => {
  it('carry the same as calls within the process', async () => {
    await call().session.openDemo();
    const result = await callRouter(host, { path: 'recall.list', type: 'query', input: null });
    expect(result).toEqual({ ok: true, data: JSON.stringify(await call().recall.list()) });
    const nothing = await callRouter(host, { path: 'session.close', type: 'mutation', input: null });
    expect(nothing).toEqual({ ok: true, data: null });
  });

  it.each([
    null,
    'session.state',
    {},
    { path: 'session.state', type: 'subscription', input: null },
    { path: 'session.state', type: 'query', input: {} },
    { path: 'session.state', type: 'query', input: null, extra: true },
    { path: 'session.nothing', type: 'query', input: null },
    { path: '__proto__.constructor', type: 'query', input: null },
    { path: 'session.openDemo', type: 'query', input: null },
    { path: 'session.open', type: 'mutation', input: '{' },
    { path: 'session.open', type: 'mutation', input: '[]' },
  ])('are refused when they are not whole: %j', async (envelope) => {
    expect(await callRouter(host, envelope)).toMatchObject({ ok: false, error: { reason: 'invalid-input' } });
  });
});

describe('pooling', () => {
  const NOWHERE = 'http://127.0.0.1:9';
  const CODE = 'AAAAAA-BBBBBB-CCCCCC-DDDDDD';

  beforeEach(() => call().session.openDemo());

  it('is nothing before a link, and everything that needs one is refused with what to do', async () => {
    const state = await call().pooling.state();
    expect(state).toMatchObject({ link: null, inPool: 0, running: false, fault: null });
    expect(await call().pooling.preview()).toBeNull();
    expect(await call().pooling.history({})).toEqual({ total: 0, rows: [] });
    const asked = [
      () => call().pooling.check(),
      () => call().pooling.send({ digest: 'a'.repeat(64) }),
      () => call().pooling.withdraw({ code: 'A-001' }),
      () => call().pooling.makeLinkFile({ passphrase: 'an invented passphrase' }),
      () => call().pooling.devices(),
    ];
    for (const one of asked) {
      expect(await refusal(one())).toMatchObject({
        reason: 'not-linked',
        message: expect.stringContaining('enrolment code'),
      });
    }
    expect((await call().pooling.progress()).state).toBe('idle');
  });

  it('tells an address that is not safe from a service that does not answer, and links to neither', async () => {
    const unsafe = await refusal(call().pooling.link({ address: 'http://pool.example.org', code: CODE }));
    expect(unsafe).toMatchObject({ reason: 'invalid-input', message: expect.stringContaining('https://') });
    const silent = await refusal(call().pooling.link({ address: NOWHERE, code: CODE }));
    expect(silent.reason).toBe('service-unreachable');
    const short = await refusal(call().pooling.link({ address: NOWHERE, code: 'AAAA' }));
    expect(short.reason).toBe('invalid-input');
    expect((await call().pooling.state()).link).toBeNull();
  });

  it('takes the invented demo to no service on another computer', async () => {
    const asked = call().pooling.link({ address: 'https://pool.example.org', code: CODE });
    expect((await refusal(asked)).reason).toBe('demo-is-fixed');
  });
});

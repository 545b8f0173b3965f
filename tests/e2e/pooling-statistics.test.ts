import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { centreSheetSchema, studyDefinitionSchema, type PooledRecord } from '@longhold/core/contribution';
import { pooledAnswerSchema } from '@longhold/core/exchange';
import {
  allCentreEstimates,
  centreStatistics,
  centreStatisticsSchema,
  memberView,
  pooledAnswer,
} from '@longhold/core/pooled';
import { pseudonymOf } from '@longhold/desktop/host/pooling/pseudonyms';
import { openStore } from '@longhold/desktop/host/store';
import { MIGRATIONS_FOLDER } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { z } from 'zod';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  longhold,
  PASSPHRASE,
  poolingFolder,
  publish,
  SERVICE_FAULT,
  servicePrograms,
  type Desktop,
  type Service,
} from '../pooling/programs';
import { recordingProxy, type RecordingProxy } from '../pooling/recording-proxy';
import { expectSame, inOrder, numbered } from '../pooling/same-numbers';

// Dozens of programs are started one after the other; a busy computer takes its time over each.
vi.setConfig({ testTimeout: 400_000, hookTimeout: 400_000 });

const SEEDS = [21, 22, 23];
const PLANTED = /kanarek/i;

const folder = poolingFolder(afterAll);
const stateSchema = z.looseObject({
  link: z.looseObject({ member: z.string() }),
  sends: z.string(),
  statistics: z.looseObject({ held: z.string().nullable(), patients: z.int().nullable() }),
});
const previewSchema = z.looseObject({
  digest: z.string(),
  isOthers: z.boolean(),
  replaces: z.string().nullable(),
  somethingToSend: z.boolean(),
  obstacle: z.string().nullable(),
  withdrawn: z.int(),
  counts: z.strictObject({ new: z.int(), changed: z.int(), unchanged: z.int(), gone: z.int() }),
});

/** One study of the same three clinics. */
interface Group {
  readonly service: Service;
  readonly coordinator: Desktop;
  readonly clinics: readonly Desktop[];
  readonly members: readonly string[];
}

const rowsPrograms = servicePrograms(folder, 'rows.sqlite');
const mixedPrograms = servicePrograms(folder, 'mixed.sqlite');
const files: string[] = [];
let proxy: RecordingProxy;
/** All three send records. */
let rows: Group;
/** The third sends statistics, through a proxy that writes down what leaves. */
let mixed: Group;

beforeAll(async () => {
  for (const seed of SEEDS) files.push(await inventedFiles(folder, `files ${seed}`, seed, 40));
  rows = await started('rows', rowsPrograms, async ({ address }) => address);
  mixed = await started('mixed', mixedPrograms, async ({ address }, index) => {
    if (index !== 2) return address;
    proxy = await recordingProxy(address);
    return proxy.address;
  });
  for (const each of [...rows.clinics, ...mixed.clinics]) await each.send();
});
afterAll(async () => {
  await proxy.close();
  await rows.service.stop();
  await mixed.service.stop();
});

async function started(
  name: string,
  programs: typeof rowsPrograms,
  addressFor: (service: Service, index: number) => Promise<string>,
): Promise<Group> {
  const own = join(folder, name);
  mkdirSync(own);
  const service = await programs.start();
  const study = await coordinate(own, service, programs.coordinatorCode(), DEFINITION);
  const clinics: Desktop[] = [];
  const members: string[] = [];
  for (const [index, file] of files.entries()) {
    const clinic = desktop(own, `kanarek clinic ${index}`);
    await clinic.bringIn(file, planted);
    const sends = name === 'mixed' && index === 2 ? 'statistics' : 'records';
    const code = await study.invite('centre');
    const { link } = stateSchema.parse(await clinic.link(await addressFor(service, index), code, sends));
    clinics.push(clinic);
    members.push(link.member);
  }
  return { service, coordinator: study.coordinator, clinics, members };
}

/** Codes and examiners that must never leave. */
function planted(text: string, name: string): string {
  const named = text.replace(/^([A-Z]+-?\d+)/gm, 'Kanarek-$1');
  return name === 'measurements.csv' ? named.replace(/,(E\d),/g, ',Kanarek$1,') : named;
}

function third({ clinics }: Group): Desktop {
  const clinic = clinics[2];
  if (clinic === undefined) throw new Error('there is no third clinic');
  return clinic;
}

const preview = async (clinic: Desktop): Promise<z.infer<typeof previewSchema>> =>
  previewSchema.parse(await clinic.pool('preview'));

/** Asks until there is a released answer. */
async function pooledOf(member: Desktop) {
  for (let tries = 0; tries < 60; tries++) {
    const answer = pooledAnswerSchema.parse(await member.pool('pooled'));
    if (answer.kind === 'released' && !answer.newer) return answer;
    await pause(500);
  }
  throw new Error('no pooled answer came');
}

/** The pooled answer with centres by number in place of their ids, so that two studies can be compared. */
async function viewOf(group: Group): Promise<unknown> {
  const { view } = await pooledOf(group.coordinator);
  return numbered(view, group.members);
}

/** All records of the clinics that send them, in one place, as one store would answer. */
async function ofOneStore(group: Group): Promise<unknown> {
  const definition = studyDefinitionSchema.parse(DEFINITION);
  const contributed: { sheet: z.infer<typeof centreSheetSchema>; records: PooledRecord[] }[] = [];
  for (const clinic of group.clinics) {
    const { sheet } = z.looseObject({ sheet: centreSheetSchema }).parse(await clinic.pool('preview'));
    contributed.push({ sheet, records: (await clinic.records()).map(({ record }) => record) });
  }
  const centres = contributed.map(({ sheet, records }, index) => {
    const context = { sheet, definition, definitionVersion: 1, software: '0.1.0' };
    const statistics = centreStatistics(records, context);
    const centre = `centre ${index}`;
    return { centre, statistics, estimates: allCentreEstimates(statistics, definition) };
  });
  const view = memberView(pooledAnswer(centres, definition, 1), { kind: 'coordinator' }, definition);
  return inOrder(JSON.parse(JSON.stringify(view)));
}

/** What the store of a clinic keeps of pooling; looked at past the program. */
async function bookOf(clinic: Desktop) {
  const store = await openStore({
    path: clinic.store,
    passphrase: PASSPHRASE,
    migrationsFolder: MIGRATIONS_FOLDER,
  });
  const { book } = await store.readPooling();
  await store.close();
  return book;
}

const pseudonymsOf = async (clinic: Desktop): Promise<string[]> => {
  const { counted, head } = await bookOf(clinic);
  const records = [...counted.values()].flatMap((one) => one.records);
  return [...records.map(({ pseudonym }) => pseudonym), ...head.keys()];
};

/** Everything in the files of the service's store. */
function bytesOf(name: string): string {
  const found = readdirSync(folder).filter((file) => file.startsWith(name));
  return found.map((file) => readFileSync(join(folder, file), 'latin1')).join('\n');
}

describe('Of three clinics one sends statistics only', () => {
  it('and the pooled answer is that of all three sending records, number for number, and that of one store', async () => {
    const mixedView = await viewOf(mixed);
    const rowsView = await viewOf(rows);
    expect(expectSame(mixedView, rowsView)).toBeGreaterThan(50);
    expect(expectSame(mixedView, await ofOneStore(rows))).toBeGreaterThan(50);
  });

  it('and what leaves is what its preview showed, and nothing like a record', async () => {
    const out = join(folder, 'statistics.json');
    const { digest, somethingToSend } = await preview(third(mixed));
    expect(digest).toMatch(/^[0-9a-f]{64}$/);
    expect(somethingToSend).toBe(false);
    await third(mixed).pool('preview', '--statistics', out);
    const shown = centreStatisticsSchema.parse(JSON.parse(readFileSync(out, 'utf8')));
    expect(proxy.sent()).toContain(JSON.stringify(shown));
    expect(proxy.requests('statistics')).toBe(1);
    for (const procedure of ['push', 'sheet']) expect(proxy.requests(procedure)).toBe(0);
    expect(proxy.sent()).not.toContain('pseudonym');
  });

  it('and no pseudonym, code, examiner or date of it is in what left or in the service’s store', async () => {
    const [first] = mixed.clinics;
    const own = await pseudonymsOf(third(mixed));
    const others = first === undefined ? [] : await pseudonymsOf(first);
    const stored = bytesOf('mixed.sqlite');
    // Those of a clinic that sends records are there, so the search can fail.
    expect(others.length).toBeGreaterThan(10);
    expect(others.filter((pseudonym) => !stored.includes(pseudonym))).toEqual([]);
    expect(own.length).toBeGreaterThan(10);
    const dates = readFileSync(join(files[2] ?? '', 'measurements.csv'), 'utf8').match(/\d{4}-\d{2}-\d{2}/g);
    expect(dates?.length).toBeGreaterThan(100);
    for (const text of [proxy.sent(), stored, mixed.service.said()]) {
      expect(own.filter((pseudonym) => text.includes(pseudonym))).toEqual([]);
      expect(text.match(PLANTED)).toBeNull();
    }
    expect(dates?.filter((date) => proxy.sent().includes(date))).toEqual([]);
  });

  it('and is refused where it did not see what leaves, and where it chose the other way', async () => {
    const unseen = await third(mixed).tryPool('send', '--confirm', '0'.repeat(64));
    expect(unseen).toMatchObject({ code: SERVICE_FAULT, err: expect.stringContaining('has changed since') });
    expect(await third(mixed).tryPool('preview', '--records', join(folder, 'none'))).toMatchObject({
      code: 2,
      err: expect.stringContaining('sends statistics'),
    });
  });
});

describe('Patients who withdraw from a clinic that sends statistics', () => {
  it('are taken out at the next exchange without being asked, with a receipt, and pooled answers that held them go', async () => {
    const gone = (await countedCodes(third(mixed))).slice(0, 3);
    for (const clinic of [third(mixed), third(rows)]) {
      await clinic.bringIn(files[2] ?? '', withoutConsent(gone));
    }
    // So many at once wait for a person where records are there.
    await third(rows).pool('withdraw-gone', String(gone.length));
    const before = stateSchema.parse(await third(mixed).pool('status')).statistics;
    const after = stateSchema.parse(await third(mixed).pool('check')).statistics;
    expect(after.patients).toBe((before.patients ?? NaN) - gone.length);
    const history = Object.values(await third(mixed).pool('history'));
    expect(history[0]).toMatchObject({
      withdrawals: 3,
      statistics: { digest: after.held, receipt: { patients: 3, versionsRemoved: null } },
    });
    expect((await countedCodes(third(mixed))).filter((code) => gone.includes(code))).toEqual([]);
    await third(rows).send();
    const { somethingToSend } = await preview(third(mixed));
    if (somethingToSend) await third(mixed).send();
    expect(expectSame(await viewOf(mixed), await viewOf(rows))).toBeGreaterThan(50);
  });
});

describe('Another study definition', () => {
  it('has statistics shown anew before they are sent, and the numbers are again those of records', async () => {
    // Enough patients go at the same time, so that a new answer is given out at once.
    const gone = [...(await withdrawnCodes()), ...(await countedCodes(third(mixed))).slice(0, 3)];
    for (const group of [mixed, rows]) {
      const own = join(folder, group === mixed ? 'mixed' : 'rows');
      await publish(own, group.coordinator, { ...DEFINITION, measures: ['Co-Gn'], years: [1, 2] });
    }
    const shown = await preview(third(mixed));
    const ended = await third(mixed).tryPool('send', '--confirm', shown.digest);
    // What was confirmed under the old one is not sent; the new one is known now.
    expect(ended.err).toContain('definition has changed');
    for (const group of [mixed, rows]) await third(group).bringIn(files[2] ?? '', withoutConsent(gone));
    await third(rows).pool('withdraw-gone', '3');
    // Of an older definition the service takes none, so the old ones are taken out whole.
    const { statistics } = stateSchema.parse(await third(mixed).pool('check'));
    expect(statistics).toMatchObject({ held: null, patients: 0 });
    expect(await preview(third(mixed))).toMatchObject({ definition: 2, somethingToSend: true });
    for (const each of [...rows.clinics, ...mixed.clinics]) {
      await each.pool('check');
      await each.send();
    }
    expect(expectSame(await viewOf(mixed), await viewOf(rows))).toBeGreaterThan(20);
  });
});

describe('One patient who withdraws', () => {
  it('gets a receipt and never comes back', async () => {
    const [code = ''] = await countedCodes(third(mixed));
    const receipt = await third(mixed).pool('withdraw', code);
    expect(receipt).toMatchObject({ code, pending: false, receipt: { patients: 1 } });
    expect(await countedCodes(third(mixed))).not.toContain(code);
    const { withdrawnForGood } = z
      .looseObject({ withdrawnForGood: z.array(z.looseObject({ code: z.string() })) })
      .parse(await third(mixed).pool('preview'));
    expect(withdrawnForGood.map((one) => one.code)).toContain(code);
  });
});

describe('Two desktops of a clinic that sends statistics', () => {
  let second: Desktop;
  const secret = { LONGHOLD_LINK_PASSPHRASE: 'another invented passphrase' };

  beforeAll(async () => {
    // After a withdrawal the service holds what was confirmed before, without that patient, and not what would leave anew.
    const { somethingToSend } = await preview(third(mixed));
    if (somethingToSend) await third(mixed).send();
    second = desktop(folder, 'second desktop');
    await second.bringIn(files[2] ?? '', await asFirst());
    const file = join(folder, 'second.longhold-link');
    await longhold(['pool', 'link-file', file, '--store', third(mixed).store], secret);
    const linked = await longhold(['pool', 'link', '--file', file, '--store', second.store], secret);
    expect(linked.code, linked.err).toBe(0);
  });

  it('with the same records send the same, so the second has nothing to send', async () => {
    expect(stateSchema.parse(await second.pool('check')).sends).toBe('statistics');
    expect(await preview(second)).toMatchObject({ somethingToSend: false, isOthers: false });
  });

  it('do not undo one another: the older one is shown what the other sent and replaces it only when it says so', async () => {
    await second.bringIn(files[2] ?? '', await asFirst(1));
    await second.send();
    await third(mixed).pool('check');
    const shown = await preview(third(mixed));
    expect(shown).toMatchObject({ isOthers: true, somethingToSend: true });
    const refused = await third(mixed).tryPool('send', '--confirm', shown.digest);
    expect(refused).toMatchObject({
      code: SERVICE_FAULT,
      err: expect.stringContaining('Another desktop of your clinic sent other statistics'),
    });
    const held = shown.replaces ?? '';
    await third(mixed).pool('send', '--confirm', shown.digest, '--in-place-of', held);
    expect(await preview(third(mixed))).toMatchObject({ isOthers: false, somethingToSend: false });
    await second.pool('check');
    expect(await preview(second)).toMatchObject({ isOthers: true });
  });

  it('confirmed on both at once, only the first arrives; the other is told and nothing of it is lost', async () => {
    const held = (await preview(second)).replaces ?? '';
    const shown = await preview(second);
    await third(mixed).bringIn(files[2] ?? '', await asFirst(2));
    await third(mixed).send();
    const ended = await second.tryPool('send', '--confirm', shown.digest, '--in-place-of', held);
    expect(ended.code).toBe(SERVICE_FAULT);
    expect(ended.err).toContain('other statistics');
    expect(stateSchema.parse(await third(mixed).pool('check')).statistics.patients).toBeGreaterThan(10);
    expect(await preview(second)).toMatchObject({ isOthers: true, somethingToSend: true });
  });

  /** The files as the first desktop has them, without the consents that were taken back, and larger by so many percent. */
  async function asFirst(by = 0): Promise<(text: string, name: string) => string> {
    const without = withoutConsent(await withdrawnCodes());
    return (text, name) => (by === 0 ? without(text, name) : longer(without(text, name), name, by));
  }
});

describe('A clinic that changes over', () => {
  it('from records to statistics takes its records out first, each with a receipt, and then sends statistics', async () => {
    const [clinic] = mixed.clinics;
    if (clinic === undefined) throw new Error('there is no first clinic');
    const held = await pseudonymsOf(clinic);
    const planned = z
      .looseObject({ other: z.looseObject({ digest: z.string(), recordsWithdrawn: z.int() }) })
      .parse(await clinic.pool('sends', 'statistics'));
    expect(planned.other.recordsWithdrawn).toBe(held.length);
    expect(stateSchema.parse(await clinic.pool('status')).sends).toBe('records');
    await clinic.pool('sends', 'statistics', '--confirm', planned.other.digest);
    const stored = bytesOf('mixed.sqlite');
    expect(held.filter((pseudonym) => stored.includes(pseudonym))).toEqual([]);
    const { changeover } = await bookOf(clinic);
    expect([...changeover.keys()].sort()).toEqual([...held].sort());
    expect([...changeover.values()].every(({ pending, receipt }) => !pending && receipt !== null)).toBe(true);
    await clinic.send();
    const { statistics } = stateSchema.parse(await clinic.pool('status'));
    expect(statistics.patients).toBe(held.length);
    const { out } = await mixedPrograms.command('verify');
    expect(out).toContain('Nothing is wrong.');
  });

  it('cannot go back to records that are gone for good, and is told what to do', async () => {
    const [clinic] = mixed.clinics;
    if (clinic === undefined) throw new Error('there is no first clinic');
    const { other } = z
      .looseObject({ other: z.looseObject({ digest: z.string(), refused: z.string().nullable() }) })
      .parse(await clinic.pool('sends', 'records'));
    expect(other.refused).toContain('enrolment code for a new centre');
    const ended = await clinic.tryPool('sends', 'records', '--confirm', other.digest);
    expect(ended).toMatchObject({ code: SERVICE_FAULT, err: expect.stringContaining('for good') });
    expect(stateSchema.parse(await clinic.pool('status')).sends).toBe('statistics');
  });

  it('from statistics to records takes the statistics out first', async () => {
    const clinic = third(mixed);
    const { other } = z
      .looseObject({ other: z.looseObject({ digest: z.string(), statisticsTakenOut: z.boolean() }) })
      .parse(await clinic.pool('sends', 'records'));
    expect(other.statisticsTakenOut).toBe(true);
    await clinic.pool('sends', 'records', '--confirm', other.digest);
    const state = stateSchema.parse(await clinic.pool('status'));
    expect(state).toMatchObject({ sends: 'records', statistics: { held: null } });
    const { inPool } = z.looseObject({ inPool: z.int() }).parse(await clinic.pool('status'));
    expect(inPool).toBe(0);
    await clinic.send();
    const now = z.looseObject({ inPool: z.int() }).parse(await clinic.pool('status'));
    expect(now.inPool).toBeGreaterThan(10);
  });
});

/** Codes of the patients who are counted in the clinic's statistics at the service. */
async function countedCodes(clinic: Desktop): Promise<string[]> {
  const { counted, secret } = await bookOf(clinic);
  const [own] = [...secret.values()];
  const inThem = new Set(
    [...counted.values()].flatMap(({ records }) => records.map(({ pseudonym }) => pseudonym)),
  );
  const codes = readFileSync(join(files[2] ?? '', 'patients.csv'), 'utf8')
    .split('\n')
    .map((line) => planted(line, 'patients.csv').split(',')[0] ?? '');
  return codes.filter((code) => inThem.has(pseudonymOf(own?.secret ?? '', code)));
}

/** Codes of the patients whom the third clinic took out of its statistics. */
async function withdrawnCodes(): Promise<string[]> {
  const { withdrawal } = await bookOf(third(mixed));
  return [...withdrawal.values()].flatMap(({ code }) => code ?? []);
}

/** The files as they were planted, with some consents for pooling taken back. */
function withoutConsent(codes: readonly string[]): (text: string, name: string) => string {
  return (text, name) => {
    const named = planted(text, name);
    if (name !== 'patients.csv') return named;
    return codes.reduce(
      (all, code) => all.replace(new RegExp(`^(${code},.*),yes(\\r?)$`, 'm'), '$1,no$2'),
      named,
    );
  };
}

/** Every size and angle a little larger, by so many percent, so that gains are larger too. */
function longer(text: string, name: string, by: number): string {
  if (name !== 'measurements.csv') return text;
  return text.replace(
    /^([^,]*,[^,]*,[^,]*,[^,]*,(?:Co-Gn|SNB)),([0-9.]+),/gm,
    (_all, start: string, value: string) => `${start},${(Number(value) * (1 + by / 100)).toFixed(2)},`,
  );
}

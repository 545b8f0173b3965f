import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import type { PatientHistory } from '@longhold/core/records';
import type { OpenStudy } from '@longhold/desktop/host/open-study';
import { temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { findPostgres, startPostgres, type PrivatePostgres } from '../../apps/sync/src/service.fixture';
import { longer, patientsFrom } from '../faults/programs/pool-patients';
import { changeFirst, poolInProcess, sendShown, type PoolInProcess } from '../pooling/pool-in-process';

/** What must never leave stands in every text field of the clinic's records. */
const PLANTED = /kanarek/i;
const planted = patientsFrom(0, 16).map((history, index): PatientHistory => ({
  ...history,
  patient: {
    ...history.patient,
    code: `KanarekKowalska-${index}`,
    protocol:
      index % 2 === 0 && history.patient.group === 'treated' ? 'KANAREKPLATE' : history.patient.protocol,
  },
  visits: history.visits.map((visit) => ({
    ...visit,
    measurements: visit.measurements.map((one) => ({ ...one, examiner: 'KanarekExaminer' })),
  })),
}));
const dates = [
  ...new Set(
    planted.flatMap(({ patient, visits, events }) => [
      patient.birthDate,
      patient.activeEnd,
      ...visits.map(({ date }) => date),
      ...events.map(({ date }) => date),
    ]),
  ),
].flatMap((date) => date ?? []);

const folder = temporaryFolder(afterAll);
const found = findPostgres();
let postgres: PrivatePostgres | null = null;
let database = '';
let pool: PoolInProcess | null = null;
let clinic: OpenStudy;

describe.skipIf(found === null)('Codes, examiners, protocols off the list and dates of a clinic', () => {
  beforeAll(async () => {
    postgres = startPostgres(found ?? '');
    database = postgres.newDatabase();
    pool = await poolInProcess(folder, { kind: 'postgres', url: database });
    clinic = await pool.linkedClinic(planted, () => new Date('2026-03-10T10:00:00Z'));
    expect(await sendShown(clinic)).toBe('done');
    await changeFirst(clinic, 16, longer);
    expect(await sendShown(clinic)).toBe('done');
    await clinic.pooling.ask('pooled', {});
  });
  afterAll(async () => {
    await pool?.close();
    postgres?.stop();
  });

  const dump = (): string => postgres?.dump(database) ?? '';
  const pseudonyms = async (): Promise<string[]> => [...(await clinic.store.readPooling()).book.head.keys()];

  it('are in the clinic’s store, and its records in the dump, so that the searches below can fail', async () => {
    expect(JSON.stringify(await clinic.store.readStudy())).toMatch(PLANTED);
    expect(dates.length).toBeGreaterThan(40);
    const text = dump();
    const held = await pseudonyms();
    expect(held.length).toBeGreaterThan(10);
    expect(held.filter((pseudonym) => !text.includes(pseudonym))).toEqual([]);
  });

  it('are in no dump of the service’s database', () => {
    const text = dump();
    expect(text.match(PLANTED)).toBeNull();
    expect(dates.filter((date) => text.includes(date))).toEqual([]);
  });

  it('are in no file of the database server, which keeps old bytes as well', () => {
    const files = filesBelow(postgres?.dataFolder ?? '');
    expect(files.length).toBeGreaterThan(100);
    const all = files.map((file) => readFileSync(file, 'latin1'));
    expect(all.some((bytes) => bytes.includes('ageMonths'))).toBe(true);
    expect(files.filter((_file, index) => PLANTED.test(all[index] ?? ''))).toEqual([]);
    expect(dates.filter((date) => all.some((bytes) => bytes.includes(date)))).toEqual([]);
  });

  it('are in no line of the log and in no metric, nor is a pseudonym', async () => {
    const metrics = (await pool?.service.server.inject({ method: 'GET', url: '/metrics' }))?.body ?? '';
    const told = `${pool?.service.logged() ?? ''}\n${metrics}`;
    expect(told).toContain('push');
    expect(told.match(PLANTED)).toBeNull();
    const held = await pseudonyms();
    expect(held.filter((pseudonym) => told.includes(pseudonym))).toEqual([]);
  });

  it('of a withdrawn patient neither pseudonym nor record is in a dump from then on', async () => {
    const { book } = await clinic.store.readPooling();
    const [[pseudonym = '', head] = []] = [...book.head];
    expect(dump()).toContain(pseudonym);
    await clinic.pooling.withdraw({ pseudonym });
    expect((await clinic.pooling.finished()).state).toBe('done');
    const text = dump();
    expect(text).not.toContain(pseudonym);
    expect(text).not.toContain(head?.version ?? 'no version');
    expect((await pseudonyms()).filter((other) => !text.includes(other))).toEqual([]);
  });
});

function filesBelow(top: string): string[] {
  return readdirSync(top, { recursive: true, encoding: 'utf8' })
    .map((name) => join(top, name))
    .filter((path) => statSync(path).isFile());
}

import { randomUUID } from 'node:crypto';
import type { IncomingMessage } from 'node:http';
import { join } from 'node:path';
import { canonicalRecord } from '@longhold/core/contribution';
import type { PatientHistory } from '@longhold/core/records';
import { OpenStudy } from '@longhold/desktop/host/open-study';
import { createStore } from '@longhold/desktop/host/store';
import { importOf, storeOptions } from '@longhold/desktop/host/store/store.fixture';
import { verifyStore } from '../../apps/sync/src/command/verify';
import type { StorePlace } from '../../apps/sync/src/store/open-store';
import { testService, type TestService } from '../../apps/sync/src/service.fixture';
import { patientsFrom } from '../faults/programs/pool-patients';
import { DEFINITION } from './programs';

/** A service that listens on the loopback, and clinics' own code on stores on disk, all in this process. */
export interface PoolInProcess {
  readonly service: TestService;
  /** Token of the coordinator, who has published a study definition. */
  readonly coordinator: string;
  newCode(): Promise<string>;
  /** A clinic with invented patients who all take part, or with those given, linked. */
  linkedClinic(patients: number | readonly PatientHistory[], clock: () => Date): Promise<OpenStudy>;
  /** Records at the service in one order, after its store was found whole, and how many were withdrawn. */
  held(): Promise<{ readonly records: readonly string[]; readonly withdrawn: number }>;
  /** Where the service listens. */
  readonly address: string;
  /** From now on every request is cut off, as where a network is down. */
  pretendUnreachable(down: boolean): void;
  close(): Promise<void>;
}

/** @param place where the service keeps its store; else a SQLite file in the folder */
export async function poolInProcess(
  folder: string,
  place: StorePlace = { kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) },
): Promise<PoolInProcess> {
  const service = await testService(place);
  let isDown = false;
  const address = await service.server.listen({ host: '127.0.0.1', port: 0 });
  service.server.server.prependListener('request', ({ socket }: IncomingMessage) => {
    if (isDown) socket.destroy();
  });
  const coordinator = (await service.enrolled('coordinator')).token;
  await service.ask('publish', { basedOn: 0, definition: DEFINITION }, coordinator);
  const clinics: OpenStudy[] = [];
  const members = new Set<string>();
  const newCode = async (): Promise<string> => {
    const { data } = await service.ask('invite', { role: 'centre', member: null }, coordinator);
    members.add(String(data['member']));
    return String(data['code']);
  };
  return {
    service,
    coordinator,
    newCode,
    address,
    pretendUnreachable: (down) => {
      isDown = down;
    },
    linkedClinic: async (patients, clock) => {
      const store = await createStore(storeOptions(join(folder, `${randomUUID()}.longhold`)));
      await store.applyImport(
        importOf([], typeof patients === 'number' ? patientsFrom(0, patients) : patients),
      );
      const open = new OpenStudy(store, null, clock, 'test');
      clinics.push(open);
      await open.pooling.link(address, await newCode());
      return open;
    },
    held: async () => {
      const { records, withdrawn, faults } = await verifyStore(service.store);
      if (faults.length > 0) throw new Error(faults.join('; '));
      const bodies = await service.store.read(async (reader) =>
        Promise.all([...members].map((member) => reader.headsAfter(member, 0, 1_000))),
      );
      const all = bodies.flat().map(({ body }) => canonicalRecord(JSON.parse(body)));
      if (all.length !== records) throw new Error('the service holds records of somebody else');
      return { records: all.sort(), withdrawn };
    },
    close: async () => {
      for (const clinic of clinics) await clinic.close();
      await service.close();
    },
  };
}

/** Confirms and sends what the preview shows; returns how it ended. */
export async function sendShown({ pooling }: OpenStudy): Promise<string> {
  const preview = await pooling.preview();
  await pooling.startSend(preview?.digest ?? '');
  return (await pooling.finished()).state;
}

/** Asks the service what is new; returns how it ended. */
export async function check({ pooling }: OpenStudy): Promise<string> {
  await pooling.startCheck();
  return (await pooling.finished()).state;
}

/** Changes the first patients of a store who take part in pooling. */
export async function changeFirst(
  { store }: OpenStudy,
  count: number,
  change: (history: PatientHistory) => PatientHistory,
): Promise<void> {
  const from = await store.readStudy();
  const some = from.filter(({ patient }) => patient.consentPooling).slice(0, count);
  await store.applyImport(importOf(from, some.map(change)));
}

/** Records as the preview shows them, in one order. */
export async function shownRecords({ pooling }: OpenStudy): Promise<readonly string[]> {
  const { digest = '' } = (await pooling.preview()) ?? {};
  const page = { digest, standing: null, search: '', offset: 0, limit: Infinity };
  return (await pooling.records(page)).rows.map(({ record }) => canonicalRecord(record)).sort();
}

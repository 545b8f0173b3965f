import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { canonicalRecord } from '@longhold/core/contribution';
import type { ProcedureInput } from '@longhold/core/exchange';
import { createRandom } from '@longhold/core/numeric';
import type { PatientHistory, Study } from '@longhold/core/records';
import { generateDemo } from '@longhold/demo';
import { confirmed } from '@longhold/desktop/host/pooling/confirm';
import { runExchange } from '@longhold/desktop/host/pooling/exchange-run';
import { enrol, linked } from '@longhold/desktop/host/pooling/linking';
import { outgoing, type Outgoing } from '@longhold/desktop/host/pooling/outgoing';
import { secretOf } from '@longhold/desktop/host/pooling/secret-of';
import { PoolingMemory } from '@longhold/desktop/host/pooling/pooling-memory';
import {
  serviceClient,
  ServiceFault,
  type ServiceClient,
} from '@longhold/desktop/host/pooling/service-client';
import { createStore } from '@longhold/desktop/host/store';
import { storeOptions, temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { backUp, restore } from '../../apps/sync/src/command/backup';
import { verifyStore } from '../../apps/sync/src/command/verify';
import { openTestStore, testService, type TestService } from '../../apps/sync/src/service.fixture';
import { DEFINITION } from '../pooling/programs';
import { FAULT_ROUNDS } from './rounds';

const folder = temporaryFolder(afterAll);
const AT = '2026-03-10T10:00:00.000Z';
const demo = generateDemo({ seed: 8, patients: 24 });

let service: TestService;
let coordinator: string;
let address: string;
const opened: { close(): Promise<void> }[] = [];
afterAll(async () => {
  for (const one of opened) await one.close();
});

beforeEach(async () => {
  service = await listening(join(folder, `${randomUUID()}.sqlite`));
  coordinator = (await service.enrolled('coordinator')).token;
  await service.ask('publish', { basedOn: 0, definition: DEFINITION }, coordinator);
});

async function listening(path: string): Promise<TestService> {
  const started = await testService({ kind: 'sqlite', path });
  address = await started.server.listen({ host: '127.0.0.1', port: 0 });
  opened.push(started);
  return started;
}

/** A clinic's side with its records in memory and its store on disk. */
class Clinic {
  study: Study = demo.study;
  memory: PoolingMemory;
  readonly #store: Awaited<ReturnType<typeof createStore>>;

  private constructor(store: Awaited<ReturnType<typeof createStore>>) {
    this.#store = store;
    this.memory = this.#fresh();
  }

  static async linked(member: string | null): Promise<Clinic> {
    const store = await createStore(storeOptions(join(folder, `${randomUUID()}.longhold`)));
    opened.push(store);
    const clinic = new Clinic(store);
    const { data } = await service.ask('invite', { role: 'centre', member }, coordinator);
    const book = await clinic.memory.read();
    const code = String(data['code']);
    const { link, secret } = await enrol({ address, code, from: null, sends: 'records' }, book, AT);
    await clinic.memory.change((latest) => linked(latest, link, secret));
    return clinic;
  }

  /** As after the end of the program: nothing is known but what the store holds. */
  restart(): void {
    this.memory = this.#fresh();
  }

  #fresh(): PoolingMemory {
    return new PoolingMemory(
      this.#store,
      () => ({ at: AT, actor: 'test' }),
      () => undefined,
    );
  }

  async outgoing(): Promise<Outgoing | null> {
    const book = await this.memory.read();
    return outgoing({ study: this.study, today: demo.today, secret: secretOf(book) ?? '', book });
  }

  /** Confirms what would leave now, or nothing of it where no definition is known yet. */
  async confirm(): Promise<void> {
    const made = await this.outgoing();
    if (made !== null) await this.memory.change((book) => confirmed(book, made, randomUUID));
  }

  async exchange(wrap: (client: ServiceClient) => ServiceClient = (client) => client): Promise<void> {
    await runExchange({
      memory: this.memory,
      study: () => Promise.resolve(this.study),
      today: () => demo.today,
      now: () => new Date(AT),
      stop: new AbortController().signal,
      onStep: () => undefined,
      onAcknowledged: () => undefined,
      client: (link) => wrap(serviceClient(address, link.token, link.epoch)),
    });
  }

  /** Sends until nothing is left, without faults. */
  async sendAll(): Promise<void> {
    await this.exchange();
    await this.confirm();
    await this.exchange();
  }

  change(change: (history: PatientHistory, index: number) => PatientHistory): void {
    this.study = this.study.map(change);
  }

  async expectWholeInService(): Promise<void> {
    const made = await this.outgoing();
    const link = (await this.memory.read()).link.get('link');
    const heads = await service.store.read((reader) => reader.headsAfter(link?.member ?? '', 0, 10_000));
    const held = heads.map(({ body }) => canonicalRecord(JSON.parse(body))).sort();
    expect(held).toEqual((made?.contribution.records ?? []).map(canonicalRecord).sort());
    const { records, faults } = await verifyStore(service.store);
    expect({ records, faults }).toEqual({ records: heads.length, faults: [] });
  }
}

/** Loses requests on their way, loses answers on their way back, and says some things twice. */
function cutting(random: ReturnType<typeof createRandom>): (client: ServiceClient) => ServiceClient {
  return ({ ask }) => ({
    ask: async (name, input, stop) => {
      const fate = random.uniform();
      if (fate < 0.15) throw new ServiceFault('unreachable', 'lost on the way there');
      const answer = await ask(name, input, stop);
      if (fate < 0.3) throw new ServiceFault('unreachable', 'lost on the way back');
      return fate < 0.4 && name === 'push' ? ask(name, input, stop) : answer;
    },
  });
}

const longer = (history: PatientHistory, by: number): PatientHistory => ({
  ...history,
  visits: history.visits.map((visit) => ({
    ...visit,
    measurements: visit.measurements.map((one) =>
      one.measure === 'Co-Gn' ? { ...one, value: Math.round(10 * (one.value + by)) / 10 } : one,
    ),
  })),
});

const withoutConsent = (history: PatientHistory): PatientHistory => ({
  ...history,
  patient: { ...history.patient, consentPooling: false },
});

describe('A clinic whose requests and answers are lost, doubled, and whose program ends anywhere', () => {
  it(`has each record at the service once and in its latest form, and none withdrawn, after ${FAULT_ROUNDS} seeded rounds`, async () => {
    const clinic = await Clinic.linked(null);
    const random = createRandom(424242);
    const wrap = cutting(random);
    const withdrawn = new Set<string>();
    let cuts = 0;
    for (let round = 0; round < FAULT_ROUNDS; round++) {
      const fate = random.uniform();
      if (fate < 0.5) {
        const some = random.integer(5) + 1;
        clinic.change((history, index) => (index % some === 0 ? longer(history, 0.1) : history));
      }
      if (fate > 0.9) {
        const { study } = clinic;
        const chosen = study[random.integer(study.length)]?.patient.code ?? '';
        withdrawn.add(chosen);
        clinic.change((history) => (history.patient.code === chosen ? withoutConsent(history) : history));
      }
      try {
        if (fate < 0.7) await clinic.confirm();
        await clinic.exchange(wrap);
      } catch (thrown) {
        if (!(thrown instanceof ServiceFault)) throw thrown;
        cuts++;
      }
      clinic.restart();
    }
    expect(cuts).toBeGreaterThan(FAULT_ROUNDS / 4);
    await clinic.sendAll();
    await clinic.expectWholeInService();
    expect(withdrawn.size).toBeGreaterThan(0);
    const { outbox, withdrawal } = await clinic.memory.read();
    expect(outbox.size).toBe(0);
    expect([...withdrawal.values()].every(({ pending, receipt }) => !pending && receipt !== null)).toBe(true);
    const codes = [...withdrawal.values()].map(({ code }) => code);
    expect(codes.every((code) => withdrawn.has(code ?? ''))).toBe(true);
  });

  it('sends a confirmed batch again under the same key and with the same content, whatever changed here since', async () => {
    const clinic = await Clinic.linked(null);
    await clinic.exchange();
    await clinic.confirm();
    const pushes: ProcedureInput<'push'>[] = [];
    const losing = ({ ask }: ServiceClient): ServiceClient => ({
      ask: async (name, input, stop) => {
        const answer = await ask(name, input, stop);
        if (name !== 'push') return answer;
        pushes.push(JSON.parse(JSON.stringify(input)));
        if (pushes.length < 4) throw new ServiceFault('unreachable', 'lost on the way back');
        return answer;
      },
    });
    for (let tries = 0; tries < 3; tries++) {
      await expect(clinic.exchange(losing)).rejects.toThrow('lost');
      clinic.change((history) => longer(history, 1));
      clinic.restart();
    }
    await clinic.exchange(losing);
    expect(pushes).toHaveLength(4);
    expect(pushes[3]).toEqual(pushes[0]);
  });

  it('is not held up for ever by a batch that the service will not take: its patients are shown as not sent', async () => {
    const clinic = await Clinic.linked(null);
    await clinic.exchange();
    await clinic.confirm();
    const refusing = ({ ask }: ServiceClient): ServiceClient => ({
      ask: (name, input, stop) => {
        if (name !== 'push') return ask(name, input, stop);
        throw new ServiceFault('wrong-input', 'not as the protocol has it');
      },
    });
    await expect(clinic.exchange(refusing)).rejects.toThrow('not as the protocol has it');
    expect((await clinic.memory.read()).outbox.size).toBe(0);
    expect((await clinic.outgoing())?.changes.fresh.length).toBeGreaterThan(10);
    await clinic.sendAll();
    await clinic.expectWholeInService();
  });

  it('takes a record out of what waits when consent is gone before it is sent', async () => {
    const clinic = await Clinic.linked(null);
    await clinic.exchange();
    await clinic.confirm();
    const [first] = (await clinic.outgoing())?.contribution.records ?? [];
    const code = (await clinic.outgoing())?.codes.get(first?.pseudonym ?? '');
    clinic.change((history) => (history.patient.code === code ? withoutConsent(history) : history));
    const sent: string[] = [];
    await clinic.exchange(({ ask }) => ({
      ask: (name, input, stop) => {
        sent.push(`${name} ${JSON.stringify(input)}`);
        return ask(name, input, stop);
      },
    }));
    const about = sent.filter((text) => text.includes(first?.pseudonym ?? 'nobody'));
    expect(about).toHaveLength(1);
    expect(about[0]).toContain('"kind":"withdrawal"');
    expect(sent.findIndex((text) => text.startsWith('push'))).toBe(sent.indexOf(about[0] ?? ''));
  });
});

describe('A service that was restored from a backup', () => {
  it('gets back what the clinic had acknowledged since, and every withdrawal, without anyone being asked', async () => {
    const clinic = await Clinic.linked(null);
    await clinic.sendAll();
    const file = join(folder, `${randomUUID()}.backup`);
    await backUp(service.store, file);
    clinic.change((history, index) => (index % 2 === 0 ? longer(history, 2) : history));
    await clinic.sendAll();
    const [first] = (await clinic.outgoing())?.contribution.records ?? [];
    const code = (await clinic.outgoing())?.codes.get(first?.pseudonym ?? '');
    clinic.change((history) => (history.patient.code === code ? withoutConsent(history) : history));
    await clinic.sendAll();
    await clinic.expectWholeInService();
    const path = join(folder, `${randomUUID()}.sqlite`);
    const fresh = await openTestStore({ kind: 'sqlite', path });
    await restore(fresh, file, () => new Date(AT));
    await fresh.close();
    service = await listening(path);
    const before = await service.store.read((reader) => reader.study());
    await clinic.exchange();
    // One check is enough: nobody has to look at a preview, because all of it was confirmed and sent before.
    await clinic.expectWholeInService();
    expect((await service.store.read((reader) => reader.study())).epoch).toBe(before.epoch);
    const { before: aside, withdrawal } = await clinic.memory.read();
    expect(aside.size).toBe(0);
    expect([...withdrawal.values()].map(({ pending }) => pending)).toEqual([false]);
    expect((await verifyStore(service.store)).withdrawn).toBe(1);
  });
});

import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { canonicalJson } from '@longhold/core/exchange';
import { createRandom } from '@longhold/core/numeric';
import type { PatientHistory, Study } from '@longhold/core/records';
import { generateDemo } from '@longhold/demo';
import { runExchange } from '@longhold/desktop/host/pooling/exchange-run';
import { enrol, linked, type OtherDesktop } from '@longhold/desktop/host/pooling/linking';
import { MakingPlace } from '@longhold/desktop/host/pooling/making-thread';
import type { StatisticsToConfirm } from '@longhold/desktop/host/pooling/making';
import { pseudonymOf } from '@longhold/desktop/host/pooling/pseudonyms';
import { PoolingMemory } from '@longhold/desktop/host/pooling/pooling-memory';
import { secretOf } from '@longhold/desktop/host/pooling/secret-of';
import {
  serviceClient,
  ServiceFault,
  type ServiceClient,
} from '@longhold/desktop/host/pooling/service-client';
import { confirmedStatistics } from '@longhold/desktop/host/pooling/statistics-changes';
import { createStore } from '@longhold/desktop/host/store';
import { storeOptions, temporaryFolder } from '@longhold/desktop/host/store/store.fixture';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { backUp, restore } from '../../apps/sync/src/command/backup';
import { openTestStore, testService, type TestService } from '../../apps/sync/src/service.fixture';
import { DEFINITION } from '../pooling/programs';
import { FAULT_ROUNDS } from './rounds';

const folder = temporaryFolder(afterAll);
const AT = '2026-03-10T10:00:00.000Z';
const demo = generateDemo({ seed: 8, patients: 40 });
const definition = { ...DEFINITION, measures: ['Co-Gn'], reference: { kind: 'built-in-table' } };

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
  await service.ask('publish', { basedOn: 0, definition }, coordinator);
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

  static async linked(from: OtherDesktop | null = null): Promise<Clinic> {
    const store = await createStore(storeOptions(join(folder, `${randomUUID()}.longhold`)));
    opened.push(store);
    const clinic = new Clinic(store);
    const member = from?.member ?? null;
    const { data } = await service.ask('invite', { role: 'centre', member }, coordinator);
    const book = await clinic.memory.read();
    const enrolment = { address, code: String(data['code']), from, sends: 'statistics' } as const;
    const { link, secret } = await enrol(enrolment, book, AT);
    await clinic.memory.change((latest) => linked(latest, link, secret, from));
    await clinic.exchange();
    return clinic;
  }

  /** What a link file would give along. */
  async shared(): Promise<OtherDesktop> {
    const book = await this.memory.read();
    const { study = '', member = '' } = book.link.get('link') ?? {};
    return { study, member, secret: secretOf(book) ?? '', withdrawn: [] };
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

  made(): Promise<StatisticsToConfirm | null> {
    const given = { study: () => Promise.resolve(this.study), today: () => demo.today, thread: null };
    return new MakingPlace({ ...given, memory: this.memory }).maker.statistics();
  }

  /** Confirms what would leave now, whoever sent what is there. */
  async confirm(): Promise<void> {
    const made = await this.made();
    if (made?.obstacle === null)
      await this.memory.change((book) => confirmedStatistics(book, made, randomUUID));
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

  async send(): Promise<void> {
    await this.confirm();
    await this.exchange();
  }

  change(change: (history: PatientHistory, index: number) => PatientHistory): void {
    this.study = this.study.map(change);
  }

  /** Takes back the consent of somebody who is counted at the service; returns the pseudonym. */
  async takeBackConsent(pick: number): Promise<string> {
    const made = await this.made();
    const counted = made?.counted.records ?? [];
    const { pseudonym } = counted[pick % counted.length] ?? { pseudonym: '' };
    const { codes } = await this.#codes();
    const code = codes.get(pseudonym);
    this.change((history) => (history.patient.code === code ? withoutConsent(history) : history));
    return pseudonym;
  }

  async #codes(): Promise<{ readonly codes: ReadonlyMap<string, string> }> {
    const secret = secretOf(await this.memory.read()) ?? '';
    return { codes: new Map(this.study.map(({ patient: { code } }) => [pseudonymOf(secret, code), code])) };
  }

  /** What the service holds of the clinic. */
  async held() {
    const member = (await this.memory.read()).link.get('link')?.member ?? '';
    return service.store.read((reader) => reader.federatedOf(member));
  }
}

/** Loses requests on their way, loses answers on their way back, and says some things twice. */
function cutting(random: ReturnType<typeof createRandom>): (client: ServiceClient) => ServiceClient {
  return ({ ask }) => ({
    ask: async (name, input, stop) => {
      const fate = random.uniform();
      if (fate < 0.15) throw new ServiceFault('unreachable', 'lost on the way there');
      const answer = await ask(name, input, stop);
      if (fate < 0.35) throw new ServiceFault('unreachable', 'lost on the way back');
      return fate < 0.45 && name === 'statistics' ? ask(name, input, stop) : answer;
    },
  });
}

const larger = (history: PatientHistory, by: number): PatientHistory => ({
  ...history,
  visits: history.visits.map((visit) => ({
    ...visit,
    measurements: visit.measurements.map((one) =>
      one.measure === 'Co-Gn' ? { ...one, value: Math.round(100 * one.value * by) / 100 } : one,
    ),
  })),
});

const withoutConsent = (history: PatientHistory): PatientHistory => ({
  ...history,
  patient: { ...history.patient, consentPooling: false },
});

describe('A clinic that sends statistics, whose requests and answers are lost and whose program ends anywhere', () => {
  it(`has its latest statistics at the service, none with anybody who withdrew, after ${FAULT_ROUNDS} seeded rounds`, async () => {
    const clinic = await Clinic.linked();
    const random = createRandom(515151);
    const wrap = cutting(random);
    const withdrawn = new Set<string>();
    let cuts = 0;
    for (let round = 0; round < FAULT_ROUNDS; round++) {
      const fate = random.uniform();
      if (fate < 0.5) {
        const some = random.integer(5) + 1;
        clinic.change((history, index) => (index % some === 0 ? larger(history, 1.001) : history));
      }
      if (fate > 0.9 && withdrawn.size < 8) withdrawn.add(await clinic.takeBackConsent(random.integer(40)));
      try {
        if (fate < 0.7) await clinic.confirm();
        await clinic.exchange(wrap);
      } catch (thrown) {
        if (!(thrown instanceof ServiceFault)) throw thrown;
        expect(thrown.code).toBe('unreachable');
        cuts++;
      }
      clinic.restart();
    }
    expect(cuts).toBeGreaterThan(FAULT_ROUNDS / 4);
    await clinic.exchange();
    await clinic.send();
    const { counted, withdrawal, statistics, offered } = await clinic.memory.read();
    expect([statistics.size, offered.size]).toEqual([0, 0]);
    const [own] = [...counted.values()];
    const held = await clinic.held();
    expect(held?.digest).toBe(own?.digest);
    expect(held?.body).toBe(canonicalJson((await clinic.made())?.counted.statistics));
    expect(own?.records.filter(({ pseudonym }) => withdrawn.has(pseudonym))).toEqual([]);
    expect(withdrawn.size).toBeGreaterThan(0);
    expect([...withdrawal.values()].filter(({ pending }) => pending)).toEqual([]);
  });

  it('takes out who withdrew before anything else leaves, from what was confirmed and not from what changed since', async () => {
    const clinic = await Clinic.linked();
    await clinic.send();
    const before = (await clinic.made())?.counted;
    clinic.change((history) => larger(history, 1.05));
    const gone = await clinic.takeBackConsent(3);
    const asked: string[] = [];
    await clinic.exchange(({ ask }) => ({
      ask: (name, input, stop) => {
        asked.push(name);
        return ask(name, input, stop);
      },
    }));
    expect(asked.slice(0, 2)).toEqual(['session', 'statistics']);
    const { counted, withdrawal } = await clinic.memory.read();
    const [own] = [...counted.values()];
    expect(own?.records).toEqual(before?.records.filter(({ pseudonym }) => pseudonym !== gone));
    expect((await clinic.held())?.digest).toBe(own?.digest);
    expect(withdrawal.get(gone)).toMatchObject({ pending: false, receipt: { patients: 1 } });
  });

  it('takes its statistics out whole where fewer treated patients than the smallest cell are left', async () => {
    const clinic = await Clinic.linked();
    await clinic.send();
    let left = 0;
    clinic.change((history) =>
      history.patient.group === 'treated' && history.patient.consentPooling && ++left > 2
        ? withoutConsent(history)
        : history,
    );
    await clinic.exchange();
    expect(await clinic.held()).toMatchObject({ digest: null, body: null });
    expect((await clinic.made())?.obstacle).toMatchObject({ kind: 'too-few', smallestCell: 3 });
    const { withdrawal } = await clinic.memory.read();
    expect([...withdrawal.values()].every(({ pending, receipt }) => !pending && receipt !== null)).toBe(true);
  });
});

describe('Two desktops of a clinic that sends statistics', () => {
  it('do not undo one another, even where both had confirmed: the later one is refused and shown what is there', async () => {
    const first = await Clinic.linked();
    await first.send();
    const second = await Clinic.linked(await first.shared());
    expect((await second.made())?.isOthers).toBe(false);
    second.change((history) => larger(history, 1.02));
    await second.exchange();
    await second.confirm();
    first.change((history) => larger(history, 1.03));
    await first.send();
    const held = await first.held();
    await expect(second.exchange()).rejects.toMatchObject({ code: 'statistics-conflict' });
    expect(await first.held()).toEqual(held);
    await second.exchange();
    expect(await second.made()).toMatchObject({ isOthers: true, replaces: held?.digest });
    await second.send();
    expect((await first.held())?.digest).toBe((await second.made())?.counted.digest);
  });

  it('where one cannot tell whether the other’s statistics hold a patient who withdrew, it says so and withdraws once it can', async () => {
    const first = await Clinic.linked();
    await first.send();
    const second = await Clinic.linked(await first.shared());
    first.change((history) => larger(history, 1.03));
    await first.send();
    const gone = await second.takeBackConsent(2);
    await expect(second.exchange()).rejects.toThrow('another desktop of your clinic sent other statistics');
    expect((await second.memory.read()).withdrawal.get(gone)).toMatchObject({ pending: true });
    // The person decides for what this desktop has.
    await second.send();
    const { withdrawal, counted } = await second.memory.read();
    expect(withdrawal.get(gone)).toMatchObject({ pending: false, receipt: { patients: 1 } });
    expect([...counted.values()][0]?.records.map(({ pseudonym }) => pseudonym)).not.toContain(gone);
  });
});

describe('A service that was restored from a backup', () => {
  it('gets the statistics that it had acknowledged since, without anybody who withdrew, and nobody is asked', async () => {
    const clinic = await Clinic.linked();
    await clinic.send();
    const file = join(folder, `${randomUUID()}.backup`);
    await backUp(service.store, file);
    clinic.change((history) => larger(history, 1.02));
    await clinic.send();
    const gone = await clinic.takeBackConsent(5);
    await clinic.exchange();
    const latest = await clinic.held();
    const path = join(folder, `${randomUUID()}.sqlite`);
    const fresh = await openTestStore({ kind: 'sqlite', path });
    await restore(fresh, file, () => new Date(AT));
    await fresh.close();
    service = await listening(path);
    expect((await clinic.held())?.digest).not.toBe(latest?.digest);
    await clinic.exchange();
    expect((await clinic.held())?.digest).toBe(latest?.digest);
    expect((await clinic.held())?.withdrawn).toBe(1);
    const { withdrawal, statistics } = await clinic.memory.read();
    expect(statistics.size).toBe(0);
    expect(withdrawal.get(gone)?.pending).toBe(false);
  });
});

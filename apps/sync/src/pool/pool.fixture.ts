import { createHash, randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { build } from 'esbuild';
import type { PooledRecord, StudyDefinition } from '@longhold/core/contribution';
import { canonicalJson } from '@longhold/core/exchange';
import {
  centreStatistics,
  pooledViewSchema,
  type CentreStatistics,
  type PooledView,
} from '@longhold/core/pooled';
import {
  INVENTED_SHEET,
  inventedDefinition,
  inventedRecords,
} from '../../../../packages/core/src/pooled/invented-centres.fixture';
import type { ServiceOptions } from '../http/options';
import { testService, versionOf, type TestService } from '../service.fixture';
import type { StorePlace } from '../store/open-store';
import type { PoolComputer } from './computer';

/** A centre of a test, with what the service holds of it. */
export interface TestCentre {
  readonly token: string;
  readonly member: string;
  /** Versions by pseudonym. */
  readonly heads: Map<string, string>;
}

/** A study of invented centres at a service. */
export class TestPool {
  readonly service: TestService;
  readonly coordinator: string;
  readonly reader: string;
  definition: StudyDefinition;
  version = 0;

  private constructor(service: TestService, tokens: { coordinator: string; reader: string }) {
    this.service = service;
    this.coordinator = tokens.coordinator;
    this.reader = tokens.reader;
    this.definition = inventedDefinition();
  }

  static async start(
    place: StorePlace,
    changes: Partial<StudyDefinition> = {},
    computer?: PoolComputer,
    quiet?: ServiceOptions['quiet'],
  ): Promise<TestPool> {
    const service = await testService(place, computer, undefined, quiet);
    const coordinator = (await service.enrolled('coordinator')).token;
    const reader = (await service.enrolled('reader')).token;
    const pool = new TestPool(service, { coordinator, reader });
    await pool.publish(changes);
    return pool;
  }

  /** The same study at a service that was started anew on its store. */
  at(service: TestService): TestPool {
    const pool = new TestPool(service, { coordinator: this.coordinator, reader: this.reader });
    pool.definition = this.definition;
    pool.version = this.version;
    return pool;
  }

  async publish(changes: Partial<StudyDefinition>): Promise<void> {
    this.definition = inventedDefinition({ years: [1, 2], ...changes });
    const input = { basedOn: this.version, definition: this.definition };
    await this.#done('publish', input, this.coordinator);
    this.version++;
  }

  async centre(): Promise<TestCentre> {
    const { token, member } = await this.service.enrolled('centre');
    return { token, member, heads: new Map() };
  }

  /** Sends records, new or in place of former ones, and the sheet. */
  async send(centre: TestCentre, records: readonly PooledRecord[]): Promise<void> {
    for (let from = 0; from < records.length; from += 500) {
      const items = records
        .slice(from, from + 500)
        .map((record) => versionOf(record, centre.heads.get(record.pseudonym) ?? null));
      await this.#done('push', { batch: randomUUID(), definition: this.version, items }, centre.token);
      for (const { record, version } of items) centre.heads.set(record.pseudonym, version);
    }
    await this.#done('sheet', { definition: this.version, sheet: INVENTED_SHEET }, centre.token);
  }

  async withdraw(centre: TestCentre, pseudonyms: readonly string[]): Promise<void> {
    const items = pseudonyms.map((pseudonym) => ({ kind: 'withdrawal', pseudonym }));
    await this.#done('push', { batch: randomUUID(), definition: this.version, items }, centre.token);
    for (const pseudonym of pseudonyms) centre.heads.delete(pseudonym);
  }

  /** The statistics that a centre makes at home. */
  statisticsOf(records: readonly PooledRecord[]): CentreStatistics {
    return centreStatistics(records, {
      sheet: INVENTED_SHEET,
      definition: this.definition,
      definitionVersion: this.version,
      software: '0.1.0',
    });
  }

  /** What a member is answered. */
  async ask(token: string, known: unknown = null): Promise<Record<string, unknown>> {
    return this.#done('pooled', { known }, token);
  }

  /** The view that a member is shown. @throws Error where there is none */
  async view(token: string): Promise<PooledView> {
    const answer = await this.ask(token);
    if (answer['kind'] !== 'released') throw new Error(`no view: ${JSON.stringify(answer)}`);
    return pooledViewSchema.parse(answer['view']);
  }

  async release(token: string): Promise<unknown> {
    const answer = await this.ask(token);
    return answer['release'] ?? answer['why'];
  }

  async #done(
    name: Parameters<TestService['ask']>[0],
    input: unknown,
    token: string,
  ): Promise<Record<string, unknown>> {
    const { reason, data } = await this.service.ask(name, input, token);
    if (reason !== null) throw new Error(`${name}: ${reason}`);
    return data;
  }
}

/** SHA-256 of statistics as the service names them. */
export function statisticsDigest(statistics: CentreStatistics): string {
  return createHash('sha256').update(canonicalJson(statistics)).digest('hex');
}

/** Invented records; the same seed gives the same. */
export function recordsOf(patients: number, seed: number): PooledRecord[] {
  return inventedRecords({ patients, seed });
}

/** A record with an invented further visit's worth of change: it is another version, and its numbers differ. */
export function changedRecord(record: PooledRecord): PooledRecord {
  return { ...record, ageMonths: record.ageMonths + 3 };
}

/** Bundles the process that computes into a folder of a test, and gives the bundle's path. */
export async function bundlePoolProcess(folder: string): Promise<string> {
  const outfile = join(folder, 'pool-process.mjs');
  await build({
    entryPoints: [join(import.meta.dirname, 'pool-process.ts')],
    outfile,
    bundle: true,
    platform: 'node',
    format: 'esm',
    // Packages in CommonJS among what is bundled ask for `require`.
    banner: {
      js: "import { createRequire } from 'node:module'; const require = createRequire(import.meta.url);",
    },
    logLevel: 'error',
  });
  return outfile;
}

import { sameContribution, studyDefinitionSchema, type StudyDefinition } from '@longhold/core/contribution';
import type { CentreRow, RecordCount, SetAsideRow, Way } from '../store/pool-rows';
import type { StudyReader } from '../store/sync-store';

/** A centre that is in the pool of the definition in force. */
export interface CentreInPool {
  readonly member: string;
  readonly way: Way;
  /** Newest change of the centre. */
  readonly sequence: number;
  /** Treated or not. */
  readonly patients: number;
  /** For statistics: the least number that changed since the last release that held the centre; else 0. */
  readonly changedAtLeast: number;
  /** From what its statistics are to be made; equal texts mean equal statistics. */
  readonly madeFrom: string;
}

/** What a pooled answer can be made of at one moment. */
export interface PoolSnapshot {
  readonly epoch: string;
  readonly sequence: number;
  readonly definition: { readonly version: number; readonly body: string; readonly parsed: StudyDefinition };
  /** Versions of the definition under which the same leaves a clinic as under the one in force, itself included. */
  readonly alike: readonly number[];
  readonly centres: readonly CentreInPool[];
  /** How many centres are left out until they have repeated their withdrawals, since the store was restored. */
  readonly unheard: number;
  /** Centres that would be in it, had the computation not failed with what they sent. */
  readonly setAside: readonly SetAsideRow[];
}

/**
 * Reads the pool as it is. The records of a centre are counted once for each of its states: nothing of it changes but
 * under a new number.
 */
export class Snapshots {
  readonly #counts = new Map<string, { readonly state: string; readonly records: readonly RecordCount[] }>();

  /** Null before the first definition. */
  async read(reader: StudyReader): Promise<PoolSnapshot | null> {
    const { epoch, sequence } = await reader.study();
    const versions = (await reader.definitions()).map(({ version, body }) => ({
      version,
      body,
      parsed: studyDefinitionSchema.parse(JSON.parse(body)),
    }));
    const definition = versions.at(-1);
    if (definition === undefined) return null;
    const alike = versions
      .filter(({ parsed }) => sameContribution(parsed, definition.parsed))
      .map(({ version }) => version);
    const centres: CentreInPool[] = [];
    const setAside: SetAsideRow[] = [];
    const failed = await reader.setAside();
    const unheard = await reader.unheardMembers();
    for (const row of await reader.centres()) {
      if (unheard.has(row.member)) continue;
      const part =
        row.federated === null
          ? await this.#ofRecords(reader, row, epoch, definition.version, alike)
          : ofStatistics(row.member, row.federated, definition.version);
      if (part === null) continue;
      const without = failed.find(
        ({ member, madeFrom }) => member === part.member && madeFrom === part.madeFrom,
      );
      if (without === undefined) centres.push(part);
      else setAside.push(without);
    }
    return { epoch, sequence, definition, alike, centres, setAside, unheard: unheard.size };
  }

  /**
   * Records count once the centre has sent its sheet under the very version in force: with it the clinic says that all of
   * its records are there, and a person there has agreed to what is now asked of them.
   */
  async #ofRecords(
    reader: StudyReader,
    { member, sequence, sheetDefinition }: CentreRow,
    epoch: string,
    version: number,
    alike: readonly number[],
  ): Promise<CentreInPool | null> {
    if (sheetDefinition !== version) return null;
    const state = `${epoch} ${sequence}`;
    const known = this.#counts.get(member);
    const records = known?.state === state ? known.records : await reader.recordCounts(member);
    this.#counts.set(member, { state, records });
    const patients = records
      .filter(({ definition }) => alike.includes(definition))
      .reduce((sum, { patients: own }) => sum + own, 0);
    if (patients === 0) return null;
    const madeFrom = `${version} records ${sequence}`;
    return { member, way: 'records', sequence, patients, changedAtLeast: 0, madeFrom };
  }
}

/** Statistics count only under the very version that they were made for. */
function ofStatistics(
  member: string,
  { definition, sequence, patients, changedAtLeast }: NonNullable<CentreRow['federated']>,
  version: number,
): CentreInPool | null {
  if (definition !== version) return null;
  const madeFrom = `${version} statistics ${sequence}`;
  return { member, way: 'statistics', sequence, patients, changedAtLeast, madeFrom };
}

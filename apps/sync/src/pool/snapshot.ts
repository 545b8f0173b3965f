import { sameContribution, studyDefinitionSchema, type StudyDefinition } from '@longhold/core/contribution';
import type { CentreRow, Way } from '../store/pool-rows';
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
}

/** The pool as it is; null before the first definition. */
export async function readSnapshot(reader: StudyReader): Promise<PoolSnapshot | null> {
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
  const centres = (await reader.centres()).flatMap((row) => inPool(row, definition.version, alike) ?? []);
  return { epoch, sequence, definition, alike, centres };
}

/**
 * A centre's part in the pool; null where it has none. Records count once the centre has sent its sheet, which says that
 * all of them are there; statistics only under the very version that they were made for.
 */
function inPool(
  { member, sequence, records, sheetDefinition, federated }: CentreRow,
  version: number,
  alike: readonly number[],
): CentreInPool | null {
  if (federated !== null) {
    if (federated.definition !== version) return null;
    const { sequence: sent, patients, changedAtLeast } = federated;
    const madeFrom = `${version} statistics ${sent}`;
    return { member, way: 'statistics', sequence: sent, patients, changedAtLeast, madeFrom };
  }
  if (sheetDefinition === null || !alike.includes(sheetDefinition)) return null;
  const patients = records
    .filter(({ definition }) => alike.includes(definition))
    .reduce((sum, { patients: own }) => sum + own, 0);
  if (patients === 0) return null;
  const madeFrom = `${version} records ${sequence}`;
  return { member, way: 'records', sequence, patients, changedAtLeast: 0, madeFrom };
}

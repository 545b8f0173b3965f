import { studyDefinitionSchema, type StudyDefinition } from './study-definition';
import type { PooledRecord } from './pooled-record';
import type { HeldVersion } from './record-changes';

/**
 * A pseudonym for tests: four 32-bit hashes (FNV-1a) of the code with different beginnings. Nothing like the keyed
 * digest that a clinic's program makes.
 */
export function pseudonymOf(code: string): string {
  return ['one', 'two', 'three', 'four'].map((salt) => hash(salt + code)).join('');
}

function hash(text: string): string {
  let state = 0x811c9dc5;
  for (const char of text) state = Math.imul(state ^ (char.codePointAt(0) ?? 0), 0x01000193);
  return (state >>> 0).toString(16).padStart(8, '0');
}

type DefinitionParts = Partial<Omit<StudyDefinition, 'coarsening'>> & {
  readonly coarsening?: Partial<StudyDefinition['coarsening']>;
};

/** An invented study group's definition, with some parts of it changed. */
export function definitionWith(parts: DefinitionParts = {}): StudyDefinition {
  return studyDefinitionSchema.parse({
    measures: ['Co-Gn', 'SNB', 'overjet'],
    threshold: { kind: 'share', share: 0.75 },
    rule: 'confirmed',
    reference: { kind: 'own-untreated-series' },
    groupBy: 'protocol',
    protocols: ['PLATE', 'FIXED', 'REMOVABLE'],
    years: [1, 2, 3, 5],
    ...parts,
    coarsening: parts.coarsening ?? {},
  });
}

/** The finest that a study group can agree on: nothing is coarsened but to days and whole months. */
export const FINEST = { smallestGroup: 1, dayStep: 1, ageStepMonths: 1 } as const;

/** A record of an invented boy, with some parts of it changed. */
export function recordWith(parts: Partial<PooledRecord> = {}): PooledRecord {
  return {
    pseudonym: pseudonymOf('a boy'),
    group: 'treated',
    sex: 'male',
    ageMonths: 160,
    protocol: 'PLATE',
    expansion: true,
    maturityStart: 'CS3',
    yearsPassed: 2,
    visits: [],
    events: [],
    ...parts,
  };
}

/** A record as the service holds it, with some parts of that changed. */
export function heldAs(record: PooledRecord, parts: Partial<HeldVersion> = {}): HeldVersion {
  const { pseudonym } = record;
  return { pseudonym, version: 'v1', definition: 1, record, own: true, keptAgainst: null, ...parts };
}

import { pooledRecordSchema, type PooledRecord } from '../contribution/pooled-record';
import { studyDefinitionSchema, type StudyDefinition } from '../contribution/study-definition';
import type { RandomStream } from '../numeric';
import { INVENTED_SHEET, inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { centreStatistics } from './centre-statistics-of';
import type { CentreStatistics } from './centre-statistics';

const PROTOCOLS = ['PLATE', 'FIXED', 'REMOVABLE'];
const STAGES = ['CS1', 'CS2', 'CS4', 'CS6', 'around-peak'];
const MEASURES = ['Co-Gn', 'SNB', 'overjet'];
const EVENTS = ['treated_again', 'withdrew', 'moved', 'declined'];

function pick<Value>(random: RandomStream, values: readonly [Value, ...Value[]] | readonly Value[]): Value {
  const value = values[random.integer(values.length)];
  if (value === undefined) throw new RangeError('pick: nothing to pick from');
  return value;
}

/** A definition as no study group would choose it, but as one may be written. */
export function oddDefinition(random: RandomStream): StudyDefinition {
  const measures = MEASURES.filter(() => random.uniform() < 0.6);
  const years = Array.from({ length: 20 }, (_, i) => i + 1).filter(() => random.uniform() < 0.3);
  const share = { kind: 'share', share: 0.05 + 0.9 * random.uniform() };
  const table = inventedDefinition({}, pick(random, ['known', 'uncertain'])).reference;
  return studyDefinitionSchema.parse({
    measures: measures.length === 0 ? ['Co-Gn'] : measures.reverse(),
    threshold: pick(random, [share, { kind: 'floor', amount: 0.1 + 2 * random.uniform() }]),
    rule: pick(random, ['any-visit', 'beyond-error', 'confirmed']),
    reference: pick(random, [{ kind: 'own-untreated-series' }, { kind: 'built-in-table' }, table]),
    groupBy: pick(random, ['protocol', 'expansion', 'sex', 'maturity', 'gain']),
    protocols: PROTOCOLS.filter(() => random.uniform() < 0.6),
    years: years.length === 0 ? [4] : years.reverse(),
    coarsening: {},
  });
}

/** A record that fits the schema and little else: visits on any day, in any order, of any kind, with any value. */
function oddRecord(random: RandomStream, number: number): PooledRecord {
  const wild = random.uniform() < 0.1;
  const dayOf = (kind: string): number => {
    if (wild) return random.integer(10_000) - 3_000;
    if (kind === 'start') return -random.integer(900);
    return kind === 'end_of_active' ? 0 : random.integer(3_500) - 50;
  };
  const valueOf = (): number => (wild ? 2_000 * random.uniform() - 1_000 : 95 + 25 * random.uniform());
  const kinds = ['start', 'end_of_active', ...Array.from({ length: random.integer(8) }, () => 'follow_up')];
  const visits = kinds.flatMap((kind) => {
    if (random.uniform() < 0.06) return [];
    const twice = random.uniform() < 0.05 ? 2 : 1;
    return Array.from({ length: twice }, () => ({
      kind,
      day: dayOf(kind),
      values: MEASURES.filter(() => random.uniform() < 0.9).map((measure) => ({
        measure,
        value: valueOf(),
        films: 1 + random.integer(2),
        readings: 2 + random.integer(3),
        magnification: 'natural',
      })),
    }));
  });
  return pooledRecordSchema.parse({
    pseudonym: number.toString(16).padStart(32, '0'),
    group: random.uniform() < 0.6 ? 'treated' : 'untreated',
    sex: pick(random, ['female', 'male']),
    ageMonths: wild ? random.integer(1_200) : 84 + random.integer(120),
    protocol: random.uniform() < 0.2 ? null : pick(random, [...PROTOCOLS, 'Of nobody']),
    expansion: pick(random, [null, true, false]),
    maturityStart: random.uniform() < 0.3 ? null : pick(random, STAGES),
    yearsPassed: random.integer(12),
    visits,
    events: Array.from({ length: random.integer(3) }, () => ({
      event: pick(random, EVENTS),
      day: random.integer(4_000) - 200,
    })),
  });
}

/** From no record to some dozens; some centres are of ordinary invented patients. */
export function oddRecords(random: RandomStream): PooledRecord[] {
  const patients = random.integer(50);
  if (random.uniform() < 0.3) {
    return inventedRecords({ patients, seed: random.integer(1e6), untreated: random.integer(40) });
  }
  return Array.from({ length: patients }, (_, number) => oddRecord(random, number));
}

/** What a centre with an ordinary sheet makes of records. */
export function statisticsUnder(
  definition: StudyDefinition,
  records: readonly PooledRecord[],
): CentreStatistics {
  return centreStatistics(records, {
    sheet: INVENTED_SHEET,
    definition,
    definitionVersion: 1,
    software: '0.1.0',
  });
}

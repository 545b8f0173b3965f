import { studyDefinitionSchema, type StudyDefinition } from '../contribution/study-definition';
import type { CentreSheet, PooledRecord } from '../contribution/pooled-record';
import { createRandom, type RandomStream } from '../numeric';
import { DAYS_PER_YEAR } from '../records';
import type { CentreInPool } from './pooled-answer';
import { allCentreEstimates } from './pooled-answer';
import { centreStatistics } from './centre-statistics-of';

/** Invented expected sizes of one measure at whole ages, mm: growth that slows to nothing at 18. */
const AGES = [6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 25, 30];
const VELOCITY = [2.4, 2.4, 2.4, 2.4, 2.6, 3, 3.2, 2.8, 2, 1.2, 0.6, 0.2, 0, 0, 0, 0];

function inventedMean(index: number): number {
  return VELOCITY.slice(0, index).reduce(
    (sum, velocity, i) => sum + velocity * ((AGES[i + 1] ?? 0) - (AGES[i] ?? 0)),
    95,
  );
}

/** An invented size at an age, on straight lines between whole ages. */
function inventedSize(age: number): number {
  const upper = Math.max(
    1,
    AGES.findIndex((own) => own >= age),
  );
  const from = AGES[upper - 1] ?? NaN;
  const to = AGES[upper] ?? NaN;
  const share = (age - from) / (to - from);
  return inventedMean(upper - 1) * (1 - share) + inventedMean(upper) * share;
}

/** Children behind each mean of the invented table: enough for its growth rates, or too few. */
const CHILDREN = { sure: 6000, uncertain: 60 } as const;

/** A definition with an invented growth table; `known` leaves out how sure its means are. */
export function inventedDefinition(
  changes: Partial<StudyDefinition> = {},
  known: 'known' | keyof typeof CHILDREN = 'known',
): StudyDefinition {
  return studyDefinitionSchema.parse({
    measures: ['Co-Gn'],
    threshold: { kind: 'share', share: 0.75 },
    rule: 'any-visit',
    reference: {
      kind: 'growth-table',
      table: {
        name: 'Invented sizes',
        measure: 'Co-Gn',
        source: 'Invented',
        filmFactor: 1,
        ownRateSd: 0.2,
        rows: (['female', 'male'] as const).flatMap((sex) =>
          AGES.map((ageYears, i) => ({
            sex,
            ageYears,
            stage: null,
            mean: inventedMean(i),
            sd: known === 'known' ? null : 4,
            n: known === 'known' ? null : CHILDREN[known],
          })),
        ),
      },
    },
    groupBy: 'sex',
    protocols: [],
    years: [1, 2, 3, 5],
    coarsening: {},
    ...changes,
  });
}

/** Two decimals are as much as is ever read off a film. */
function rounded(value: number): number {
  return Math.round(value * 100) / 100;
}

/** What is planted in an invented centre. Lengths in mm, S in years. */
export interface InventedCentre {
  readonly patients: number;
  readonly seed: number;
  readonly lasting?: number;
  readonly forward?: number;
  /** Mean loss of gain a year in a third of the patients, mm. */
  readonly untreated?: number;
}

/** Invented records of one centre: treated patients seen about yearly for up to six years, some of whom lose their gain. */
export function inventedRecords({
  patients,
  seed,
  lasting = 2.5,
  forward = 0.5,
  untreated = 0,
}: InventedCentre): PooledRecord[] {
  const random = createRandom(seed);
  const treated = Array.from({ length: patients }, () => treatedRecord(random, lasting, forward));
  const controls = Array.from({ length: untreated }, () => untreatedRecord(random));
  return [...treated, ...controls];
}

function pseudonymOf(random: RandomStream): string {
  return Array.from({ length: 32 }, () => random.integer(16).toString(16)).join('');
}

function valueOn(day: number, kind: 'start' | 'end_of_active' | 'follow_up', value: number) {
  return {
    kind,
    day,
    values: [
      { measure: 'Co-Gn', value: rounded(value), films: 1, readings: 1, magnification: 'natural' as const },
    ],
  };
}

function treatedRecord(random: RandomStream, lasting: number, forward: number): PooledRecord {
  const ageMonths = 132 + random.integer(37);
  const age = ageMonths / 12;
  const own = { lasting: lasting + 0.7 * random.normal(), forward: forward + 0.15 * random.normal() };
  const fades = random.uniform() < 0.3 ? 0.5 + 0.2 * random.normal() : 0;
  const level = 3 * random.normal();
  const velocityAt = (at: number): number => inventedSize(at + 0.5) - inventedSize(at - 0.5);
  const startDay = -Math.round(365 + 200 * random.uniform());
  const size = (day: number): number => {
    const at = age + day / DAYS_PER_YEAR;
    const gain = day < 0 ? 0 : own.lasting + own.forward * velocityAt(at) - fades * (day / DAYS_PER_YEAR);
    return inventedSize(at) + level + gain + 0.5 * random.normal();
  };
  const yearsPassed = 2 + random.integer(6);
  const visits = [valueOn(startDay, 'start', size(startDay)), valueOn(0, 'end_of_active', size(0))];
  for (let year = 1; year <= Math.min(yearsPassed, 6); year++) {
    if (random.uniform() < 0.25) continue;
    const day = 7 * Math.round((year * DAYS_PER_YEAR + 60 * (random.uniform() - 0.5)) / 7);
    visits.push(valueOn(day, 'follow_up', size(day)));
  }
  const left = random.uniform();
  const day = Math.round((0.5 + 4 * random.uniform()) * DAYS_PER_YEAR);
  const event = left < 0.04 ? 'treated_again' : left < 0.12 ? 'moved' : left < 0.16 ? 'declined' : null;
  return {
    pseudonym: pseudonymOf(random),
    group: 'treated',
    sex: random.uniform() < 0.5 ? 'female' : 'male',
    ageMonths,
    protocol: null,
    expansion: random.uniform() < 0.5,
    maturityStart: null,
    yearsPassed,
    visits,
    events: event === null ? [] : [{ event, day }],
  };
}

function untreatedRecord(random: RandomStream): PooledRecord {
  const ageMonths = 84 + random.integer(84);
  const level = 3 * random.normal();
  const rate = 0.3 * random.normal();
  const visits = Array.from({ length: 6 }, (_, i) => {
    const day = 365 * i;
    const at = ageMonths / 12 + day / DAYS_PER_YEAR;
    const value = inventedSize(at) + level + (rate * day) / DAYS_PER_YEAR + 0.5 * random.normal();
    return valueOn(day, i === 0 ? 'start' : 'follow_up', value);
  });
  return {
    pseudonym: pseudonymOf(random),
    group: 'untreated',
    sex: random.uniform() < 0.5 ? 'female' : 'male',
    ageMonths,
    protocol: null,
    expansion: null,
    maturityStart: null,
    yearsPassed: 6,
    visits,
    events: [],
  };
}

/** A sheet with a known error and no flow. */
export const INVENTED_SHEET: CentreSheet = {
  methodErrors: [{ measure: 'Co-Gn', retracingSd: 0.5, filmSd: null, source: 'duplicates', pairs: 40 }],
  flow: {
    treated: null,
    contributed: 0,
    withoutConsent: null,
    withoutEnd: null,
    withoutStart: null,
    withoutAge: null,
    outsideLimits: null,
    tooFewAlike: null,
  },
};

/** A centre as the service keeps it, from its records. */
export function centreOf(
  centre: string,
  records: readonly PooledRecord[],
  definition: StudyDefinition,
): CentreInPool {
  const statistics = centreStatistics(records, {
    sheet: INVENTED_SHEET,
    definition,
    definitionVersion: 1,
    software: '0.1.0',
  });
  return { centre, statistics, estimates: allCentreEstimates(statistics, definition) };
}

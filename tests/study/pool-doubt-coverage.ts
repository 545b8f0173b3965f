import { studyDefinitionSchema, type PooledRecord, type StudyDefinition } from '@longhold/core/contribution';
import { TYPICAL_PEAK_AGES, type ImportedTable } from '@longhold/core/growth';
import { isRefusal, type RandomStream, type Refusal } from '@longhold/core/numeric';
import {
  allCentreEstimates,
  centreStatistics,
  pooledAnswer,
  type CentreInPool,
  type CentreStatistics,
  type OneStage,
  type PooledMeasure,
  type TwoStageMean,
} from '@longhold/core/pooled';
import { ratioIsIn } from '@longhold/core/ratio';
import { DAYS_PER_YEAR, type Sex } from '@longhold/core/records';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';
import { drawnTable, exactTable, ERROR_SD, size } from './growth-reference-coverage';

/*
 * Pools of centres from records to answers, where growth is estimated anew in every sample: each centre from untreated
 * children of its own, or all from one table. What is planted is what very many such patients show if growth is known
 * exactly. "As if known": the same pool with what the curves owe to growth and method error left out of the statistics.
 */
type Outcomes = Record<string, Outcome[]>;
type Reference = 'own' | 'table';

const LEVEL = 0.95;
const YEAR = 3;
const GAIN = { mean: 5, sd: 0.8, lost: 0.6 };
/** Weibull times to the loss of the gain, years. */
const MEDIAN = 4.5;
const SHAPE = 1.4;
const OWN_RATE_SD = 0.15;
const UNTREATED = 60;
const CHILDREN = 150;
const PAIRS = 40;
const SIZES = [30, 60, 40, 25, 80];

function record(
  place: number,
  group: PooledRecord['group'],
  age: number,
  visits: readonly { readonly day: number; readonly value: number }[],
): PooledRecord {
  const kinds = ['start', group === 'treated' ? 'end_of_active' : 'follow_up'] as const;
  return {
    pseudonym: place.toString(16).padStart(32, '0'),
    group,
    sex: sexAt(place),
    ageMonths: Math.round(12 * age),
    protocol: null,
    expansion: null,
    maturityStart: null,
    yearsPassed: 6,
    visits: visits.map(({ day, value }, i) => ({
      kind: kinds[i] ?? 'follow_up',
      day,
      values: [{ measure: 'Co-Gn', value, films: 1, readings: 1, magnification: 'natural' }],
    })),
    events: [],
  };
}

function sexAt(place: number): Sex {
  return place % 2 === 0 ? 'female' : 'male';
}

/** Seen at the start a year before the end of active treatment, at its end and yearly for six years. */
function treated(random: RandomStream, place: number): PooledRecord {
  const age = Math.round(12 * (11.5 + 2 * random.uniform())) / 12;
  const gain = GAIN.mean + GAIN.sd * random.normal();
  const loss = (MEDIAN * random.exponential(1) ** (1 / SHAPE)) / Math.LN2 ** (1 / SHAPE);
  const level = 5 * random.normal();
  const visits = [-1, 0, 1, 2, 3, 4, 5, 6].map((years) => {
    const day = Math.round(years * DAYS_PER_YEAR);
    const kept = years < 0 ? 0 : years < loss ? gain : GAIN.lost * gain;
    const natural = size(age + day / DAYS_PER_YEAR, TYPICAL_PEAK_AGES[sexAt(place)]) + level;
    return { day, value: natural + kept + ERROR_SD * random.normal() };
  });
  return record(place, 'treated', age, visits);
}

function untreated(random: RandomStream, place: number): PooledRecord {
  const age = Math.round(12 * (9.5 + 5 * random.uniform())) / 12;
  const [level, rate] = [5 * random.normal(), OWN_RATE_SD * random.normal()];
  const visits = [0, 1, 2, 3, 4, 5, 6].map((years) => {
    const day = Math.round(years * DAYS_PER_YEAR);
    const natural = size(age + day / DAYS_PER_YEAR, TYPICAL_PEAK_AGES[sexAt(place)]) + level + rate * years;
    return { day, value: natural + ERROR_SD * random.normal() };
  });
  return record(place, 'untreated', age, visits);
}

function definitionWith(table: ImportedTable | null): StudyDefinition {
  return studyDefinitionSchema.parse({
    measures: ['Co-Gn'],
    threshold: { kind: 'share', share: 0.75 },
    rule: 'any-visit',
    reference: table === null ? { kind: 'own-untreated-series' } : { kind: 'growth-table', table },
    groupBy: 'sex',
    protocols: [],
    years: [YEAR],
    level: LEVEL,
    coarsening: {},
  });
}

function member(
  place: number,
  records: readonly PooledRecord[],
  definition: StudyDefinition,
  retracingSd: number,
): CentreInPool {
  const statistics = centreStatistics(records, {
    sheet: {
      methodErrors: [
        { measure: 'Co-Gn', retracingSd, filmSd: null, source: 'duplicates', pairs: PAIRS, filmDf: null },
      ],
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
    },
    definition,
    definitionVersion: 1,
    software: '0.1.0',
  });
  return { centre: `c${place}`, statistics, estimates: allCentreEstimates(statistics, definition) };
}

/** The same centre as a program gives it that does not know what its curves owe to growth and method error. */
function asIfKnown({ centre, statistics }: CentreInPool, definition: StudyDefinition): CentreInPool {
  const known: CentreStatistics = {
    ...statistics,
    measures: statistics.measures.map(({ doubt: _doubt, ...rest }) => rest),
  };
  return { centre, statistics: known, estimates: allCentreEstimates(known, definition) };
}

const MANY = 6000;
let planted: PooledMeasure | null = null;
function truthOf(random: RandomStream): PooledMeasure {
  if (planted !== null) return planted;
  const definition = definitionWith(exactTable(0));
  const records = Array.from({ length: MANY }, (_, place) => treated(random, place));
  planted = answered([member(0, records, definition, ERROR_SD)], definition);
  return planted;
}

function answered(members: readonly CentreInPool[], definition: StudyDefinition): PooledMeasure {
  const [measure] = pooledAnswer(members, definition, 1).measures;
  if (measure === undefined) throw new Error('no measure');
  return measure;
}

function drawnErrorSd(random: RandomStream): number {
  const squares = Array.from({ length: PAIRS }, () => random.normal() ** 2);
  return ERROR_SD * Math.sqrt(squares.reduce((sum, square) => sum + square, 0) / PAIRS);
}

function ofMean(truth: number, mean: TwoStageMean | Refusal | undefined): Outcome {
  return mean === undefined || isRefusal(mean) ? 'undefined' : outcomeOf(truth, mean.limits);
}

function ofStage(truth: number, stage: OneStage | Refusal | undefined): Outcome {
  if (stage === undefined || isRefusal(stage)) return 'undefined';
  return ratioIsIn(stage.interval, truth) ? 'covered' : 'truth-above';
}

function estimateOf(stage: OneStage | Refusal | undefined): number {
  return stage === undefined || isRefusal(stage) ? NaN : stage.estimate;
}

function trials(random: RandomStream, count: number, reference: Reference): Outcomes {
  const truth = truthOf(random);
  const table =
    reference === 'own' ? null : drawnTable(random, { children: CHILDREN, longitudinal: false, said: true });
  const definition = definitionWith(table);
  const members = Array.from({ length: count }, (_, place) => {
    const patients = SIZES[place % SIZES.length] ?? 30;
    const own = Array.from({ length: patients }, (__, i) => treated(random, i));
    const children =
      reference === 'own'
        ? Array.from({ length: UNTREATED }, (__, i) => untreated(random, patients + i))
        : [];
    return member(place, [...own, ...children], definition, drawnErrorSd(random));
  });
  const pooled = answered(members, definition);
  const known = answered(
    members.map((one) => asIfKnown(one, definition)),
    definition,
  );
  const [survival, share, parts] = [truth.survival[0], truth.retention[0], truth.separation];
  const stillThere = estimateOf(survival?.oneStage);
  const girls = ({ groups }: PooledMeasure) =>
    groups.groups.find(({ label }) => label === 'Girls')?.atYears[0]?.oneStage;
  const lost = ({ competing }: PooledMeasure) => competing[0]?.lost;
  const lostIn = (measure: PooledMeasure): Outcome => {
    const { lower = null, upper = null } = lost(measure) ?? {};
    return outcomeOf(
      lost(truth)?.probability ?? NaN,
      lower === null || upper === null ? null : { lower, upper },
    );
  };
  return {
    'survival, year 3, mean over centres': [ofMean(stillThere, pooled.survival[0]?.twoStage)],
    'survival, year 3, mean over centres, as if known': [ofMean(stillThere, known.survival[0]?.twoStage)],
    'survival, year 3, all patients as one series': [ofStage(stillThere, pooled.survival[0]?.oneStage)],
    'survival, year 3, all patients as one series, as if known': [
      ofStage(stillThere, known.survival[0]?.oneStage),
    ],
    'survival of girls, year 3, all as one series': [ofStage(estimateOf(girls(truth)), girls(pooled))],
    'survival of girls, year 3, all as one series, as if known': [
      ofStage(estimateOf(girls(truth)), girls(known)),
    ],
    'incidence of loss, year 3': [lostIn(pooled)],
    'incidence of loss, year 3, as if known': [lostIn(known)],
    'that centres do not differ (score test), alike': [noDifference(pooled)],
    'that centres do not differ (score test), alike, as if known': [noDifference(known)],
    'retained share, year 3, mean over centres': [
      ofMean(estimateOf(share?.oneStage), pooled.retention[0]?.twoStage),
    ],
    'retained share, year 3, all patients as one series': [
      ofStage(estimateOf(share?.oneStage), pooled.retention[0]?.oneStage),
    ],
    'lasting gain T, mean over centres': [
      ofMean(clockTruth(parts.lasting.rows), pooled.separation.lasting.twoStage),
    ],
    'years brought forward S, mean over centres': [
      ofMean(clockTruth(parts.forward.rows), pooled.separation.forward.twoStage),
    ],
  };
}

/** The one row of the planted pool, which is one large centre. */
function clockTruth([row]: readonly { readonly estimate: number }[]): number {
  return row?.estimate ?? NaN;
}

function noDifference({ survivalDifferences: test }: PooledMeasure): Outcome {
  if (isRefusal(test)) return 'undefined';
  return test.p >= 1 - LEVEL ? 'covered' : 'truth-above';
}

const REFERENCES = {
  own: `${UNTREATED} untreated children in each`,
  table: `one table of ${CHILDREN} children a mean`,
} as const satisfies Record<Reference, string>;

/** Pools of 5 and 10 centres with growth estimated in each, and from one table. */
export const POOL_DOUBT_COVERAGE: readonly JointCoverageStudy[] = (['own', 'table'] as const).flatMap(
  (reference) =>
    [5, 10].map((count): JointCoverageStudy => ({
      situation: `${count} alike centres of 25 to 80 patients, growth from ${REFERENCES[reference]}`,
      level: LEVEL,
      replicates: 200,
      trials: (random) => trials(random, count, reference),
    })),
);

import { answerOutcome, type OutcomeAnswer } from '@longhold/core/answers';
import { TYPICAL_PEAK_AGES, yearsAfterPeak, type ImportedTable } from '@longhold/core/growth';
import { findMeasure } from '@longhold/core/measures';
import { isRefusal, mean, sampleVariance, type RandomStream } from '@longhold/core/numeric';
import { ratioIsIn } from '@longhold/core/ratio';
import { sexSchema, type PatientHistory, type Sex } from '@longhold/core/records';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';
import { inventedHistory } from './invented-patient';

/*
 * Growth taken from an imported table, with the table drawn anew in every sample, and growth read by stage of maturity.
 * Everything is planted: one smooth curve for each sex, children who stray from it at a rate of their own, and gains.
 */
type Outcomes = Record<string, Outcome[]>;

const LEVEL = 0.95;
/** What the program takes for Co-Gn where there are no duplicates. */
export const ERROR_SD = findMeasure('Co-Gn')?.defaultError.sd ?? NaN;
const OWN_RATE_SD = 0.3;
const SIZE_SD = 5;
const YEARS = [1, 2, 4];

/** Expected size of an invented child whose growth is fastest at `peak`, and its velocity. */
export function size(age: number, peak: number): number {
  return 100 + 1.2 * (age - 8) + 6 / (1 + Math.exp(-(age - peak)));
}
function velocity(age: number, peak: number): number {
  const rise = 1 / (1 + Math.exp(-(age - peak)));
  return 1.2 + 6 * rise * (1 - rise);
}

/** What is planted: lasting gain and years of growth brought forward; mean and SD over patients. */
const LASTING = { mean: 2.2, sd: 0.8 };
const FORWARD = 0.6;
const START = { youngest: 10.5, span: 2 };

interface TableDesign {
  /** Children behind each mean. */
  readonly children: number;
  /** Whether the same children were measured at every age. */
  readonly longitudinal: boolean;
  /** Whether the table says SD and number. */
  readonly said: boolean;
}

const AGES = Array.from({ length: 11 }, (_, i) => 8 + i);

export function drawnTable(
  random: RandomStream,
  { children, longitudinal, said }: TableDesign,
): ImportedTable {
  const rowsOf = (sex: Sex): ImportedTable['rows'] => {
    const cohort = drawnChildren(random, children);
    return AGES.map((ageYears) => {
      const seen = longitudinal ? cohort : drawnChildren(random, children);
      const values = seen.map(
        ({ level, rate }) =>
          size(ageYears, TYPICAL_PEAK_AGES[sex]) +
          level +
          rate * (ageYears - 12) +
          ERROR_SD * random.normal(),
      );
      const sd = Math.sqrt(sampleVariance(values));
      return {
        sex,
        ageYears,
        stage: null,
        mean: mean(values),
        ...(said ? { sd, n: children } : { sd: null, n: null }),
      };
    });
  };
  const source = 'invented for this study';
  const facts = { name: 'Drawn', measure: 'Co-Gn', source, filmFactor: 1, ownRateSd: OWN_RATE_SD };
  return { ...facts, rows: sexSchema.options.flatMap(rowsOf) };
}

function drawnChildren(random: RandomStream, count: number): { level: number; rate: number }[] {
  return Array.from({ length: count }, () => ({
    level: SIZE_SD * random.normal(),
    rate: OWN_RATE_SD * random.normal(),
  }));
}

interface Followed {
  readonly history: PatientHistory;
  /** Planted A(0). */
  readonly gain: number;
}

function followed(random: RandomStream, place: number): Followed {
  const sex: Sex = place % 2 === 0 ? 'female' : 'male';
  const peak = TYPICAL_PEAK_AGES[sex];
  const start = START.youngest + START.span * random.uniform();
  const [own] = drawnChildren(random, 1);
  const lasting = LASTING.mean + LASTING.sd * random.normal();
  const gainAt = (age: number): number => lasting + FORWARD * velocity(age, peak);
  const visits = [0, 1, 2, 3, 4, 5].map((years) => {
    const at = start + years;
    const natural = size(at, peak) + (own?.level ?? 0) + (own?.rate ?? 0) * (at - start);
    return { at, value: natural + (years === 0 ? 0 : gainAt(at)) + ERROR_SD * random.normal() };
  });
  const code = `P${String(place).padStart(3, '0')}`;
  return {
    history: inventedHistory({ code, sex, measure: 'Co-Gn', unit: 'mm', visits, dated: false }),
    gain: gainAt(start + 1),
  };
}

/** Mean planted gain so many years after the end of treatment, over both sexes and all ages at the start. */
function expectedGain(years: number): number {
  const steps = Array.from({ length: 400 }, (_, i) => START.youngest + (START.span * (i + 0.5)) / 400);
  const gains = sexSchema.options.flatMap((sex) =>
    steps.map((start) => LASTING.mean + FORWARD * velocity(start + 1 + years, TYPICAL_PEAK_AGES[sex])),
  );
  return mean(gains);
}

function tableTrials(random: RandomStream, patients: number, design: TableDesign): Outcomes {
  const drawn = Array.from({ length: patients }, (_, place) => followed(random, place));
  const answer = answerOutcome(
    drawn.map(({ history }) => history),
    { reference: 'imported-table', resamples: 50, level: LEVEL },
    {},
    [drawnTable(random, design)],
  );
  return {
    ...groupOutcomes(answer, expectedGain),
    ...separationOutcomes(answer, LASTING.mean, FORWARD),
    'gain of one patient': patientOutcomes(answer, drawn),
  };
}

function groupOutcomes(answer: OutcomeAnswer, expected: (years: number) => number): Outcomes {
  const outcomes: Outcomes = {
    'mean gain of the group': [outcomeOf(expected(0), answer.gain?.limits ?? null)],
  };
  for (const year of YEARS) {
    const share = answer.retained.find((row) => row.year === year)?.share ?? null;
    const truth = expected(year) / expected(0);
    outcomes[`retained share of the group, year ${year}`] = [ratioOutcome(truth, share?.interval ?? null)];
  }
  return outcomes;
}

function ratioOutcome(
  truth: number,
  interval: NonNullable<OutcomeAnswer['retained'][number]['share']>['interval'] | null,
): Outcome {
  if (interval === null) return 'undefined';
  if (interval.kind === 'bounded') return outcomeOf(truth, interval);
  return ratioIsIn(interval, truth) ? 'covered' : 'truth-above';
}

function separationOutcomes(answer: OutcomeAnswer, lasting: number, forward: number): Outcomes {
  const clock = answer.separation.growthClock;
  const limits = isRefusal(clock) ? null : clock;
  return {
    'lasting gain T': [outcomeOf(lasting, limits?.lasting.limits ?? null)],
    'years brought forward S': [outcomeOf(forward, limits?.passing.limits ?? null)],
  };
}

function patientOutcomes(answer: OutcomeAnswer, drawn: readonly Followed[]): Outcome[] {
  const planted = new Map(drawn.map(({ history, gain }) => [history.patient.code, gain]));
  return answer.patients.flatMap(({ code, gain }) => {
    const truth = planted.get(code);
    return truth === undefined || gain === null ? [] : [outcomeOf(truth, gain.limits)];
  });
}

const TABLES: readonly (readonly [patients: number, words: string, design: TableDesign])[] = [
  [40, 'table of 30 other children a mean', { children: 30, longitudinal: false, said: true }],
  [120, 'table of 30 other children a mean', { children: 30, longitudinal: false, said: true }],
  [120, 'table of 150 other children a mean', { children: 150, longitudinal: false, said: true }],
  [120, 'table of 2,000 other children a mean', { children: 2000, longitudinal: false, said: true }],
  [120, 'table of the same 30 children at every age', { children: 30, longitudinal: true, said: true }],
  [120, 'table of 30 a mean that does not say so', { children: 30, longitudinal: false, said: false }],
];

/** How growth read by stage is planted. */
interface StageDesign {
  readonly words: string;
  /** SD, in years, of the place at which a child of a stage really is. The program takes 0.6. */
  readonly placeSd: number;
  /** SD, in years, of the ages at which the children of the reference have their peak. */
  readonly peakSd: number;
}

const STAGES = ['CS1', 'CS2', 'CS3', 'CS4'] as const;
const STAGE_GAIN = { mean: 3, sd: 0.8 };
const PEAK_AGE_SD = 1;

/** Mean sizes as a table has them whose children peak at different ages; exact, so that only the stages are in doubt. */
export function exactTable(peakSd: number): ImportedTable {
  const shifts = Array.from({ length: 41 }, (_, i) => (i - 20) / 5);
  const weights = shifts.map((shift) => Math.exp((-shift * shift) / 2));
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  const meanSize = (age: number, peak: number): number =>
    shifts.reduce((sum, shift, i) => sum + (weights[i] ?? 0) * size(age, peak + peakSd * shift), 0) / total;
  // Every quarter of a year, so that straight lines between ages cost nothing.
  const ages = Array.from({ length: 61 }, (_, i) => 5 + i / 4);
  return {
    name: 'Exact',
    measure: 'Co-Gn',
    source: 'invented for this study',
    filmFactor: 1,
    ownRateSd: OWN_RATE_SD,
    rows: sexSchema.options.flatMap((sex) =>
      ages.map((ageYears) => {
        const sizeThere = meanSize(ageYears, TYPICAL_PEAK_AGES[sex]);
        return { sex, ageYears, stage: null, mean: sizeThere, sd: null, n: null };
      }),
    ),
  };
}

/** A patient of a stage who is early or late by years, and whose stage is read somewhat before or after its place. */
function staged(random: RandomStream, place: number, placeSd: number): Followed {
  const sex: Sex = place % 2 === 0 ? 'female' : 'male';
  const stage = STAGES[random.integer(STAGES.length)] ?? 'CS3';
  const peak = TYPICAL_PEAK_AGES[sex] + PEAK_AGE_SD * random.normal();
  const start = peak + (yearsAfterPeak(stage) ?? NaN) + placeSd * random.normal();
  const [own] = drawnChildren(random, 1);
  const gain = STAGE_GAIN.mean + STAGE_GAIN.sd * random.normal();
  const visits = [0, 1, 2, 3, 4, 5].map((years) => {
    const at = start + years;
    const natural = size(at, peak) + (own?.level ?? 0) + (own?.rate ?? 0) * (at - start);
    return { at, value: natural + (years === 0 ? 0 : gain) + ERROR_SD * random.normal() };
  });
  const code = `P${String(place).padStart(3, '0')}`;
  const records = { code, sex, measure: 'Co-Gn', unit: 'mm', visits, dated: false } as const;
  return { history: inventedHistory({ ...records, maturityStart: stage }), gain };
}

const STAGE_PATIENTS = 60;

function stageTrials(random: RandomStream, { placeSd }: StageDesign, table: ImportedTable): Outcomes {
  const drawn = Array.from({ length: STAGE_PATIENTS }, (_, place) => staged(random, place, placeSd));
  const answer = answerOutcome(
    drawn.map(({ history }) => history),
    { reference: 'imported-table', growthClock: 'maturity', resamples: 50, level: LEVEL },
    {},
    [table],
  );
  return {
    ...groupOutcomes(answer, () => STAGE_GAIN.mean),
    ...separationOutcomes(answer, STAGE_GAIN.mean, 0),
    'gain of one patient': patientOutcomes(answer, drawn),
  };
}

const STAGE_DESIGNS: readonly StageDesign[] = [
  { words: 'places of stages with an SD of 0.6 years, as taken', placeSd: 0.6, peakSd: 0 },
  { words: 'places of stages with an SD of 0.3 years, taken as 0.6', placeSd: 0.3, peakSd: 0 },
  { words: 'places of stages with an SD of 0.9 years, taken as 0.6', placeSd: 0.9, peakSd: 0 },
  {
    words: 'SD 0.6 as taken, children of the reference peak at ages with an SD of 1 year',
    placeSd: 0.6,
    peakSd: 1,
  },
];

export const GROWTH_REFERENCE_COVERAGE: readonly JointCoverageStudy[] = [
  ...TABLES.map(([patients, words, design]): JointCoverageStudy => ({
    situation: `${patients} patients, ${words}`,
    level: LEVEL,
    replicates: 300,
    trials: (random) => tableTrials(random, patients, design),
  })),
  ...STAGE_DESIGNS.map((design): JointCoverageStudy => {
    const table = exactTable(design.peakSd);
    return {
      situation: `${STAGE_PATIENTS} patients by stage; ${design.words}`,
      level: LEVEL,
      replicates: 300,
      trials: (random) => stageTrials(random, design, table),
    };
  }),
];

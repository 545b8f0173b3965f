import { competingAnswer, prepareQuestion, type OutcomeAnswer } from '@longhold/core/answers';
import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import type { PatientHistory } from '@longhold/core/records';
import { absenceAnswer } from '../../packages/core/src/answers/absence';
import { patientOutcome } from '../../packages/core/src/answers/patient-outcome';
import { survivalAnswer } from '../../packages/core/src/answers/survival-answer';
import { survivalGroups } from '../../packages/core/src/answers/survival-groups';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';
import { dayAt, inventedHistory } from './invented-patient';

/*
 * From records to groups, tests, ratios and bounds: patients whose overjet (a measure that does not grow) is corrected
 * by 6 mm and falls back by most of that at a planted time, so that what is measured tells plainly who has lost it.
 */
type Outcomes = Record<string, Outcome[]>;

const LEVEL = 0.95;
const CORRECTED = { before: 9, after: 3, lost: 8 };
const READING_ERROR = 0.15;
const END = 1;

interface Planted {
  /** Years from the end of treatment to the loss. */
  readonly loss: number;
  readonly protocol: string;
  readonly expansion: boolean;
  /** Years after the end of treatment at which the patient comes. */
  readonly visits: readonly number[];
}

function historyOf(
  random: RandomStream,
  place: number,
  { loss, protocol, expansion, visits }: Planted,
): PatientHistory {
  const reading = (value: number): number => value + READING_ERROR * random.normal();
  return inventedHistory({
    code: `P${String(place).padStart(3, '0')}`,
    sex: random.uniform() < 0.5 ? 'female' : 'male',
    measure: 'overjet',
    unit: 'mm',
    dated: true,
    protocol,
    expansion,
    maturityStart: random.uniform() < 0.5 ? 'CS2' : 'CS4',
    visits: [
      { at: 0, value: reading(CORRECTED.before) },
      { at: END, value: reading(CORRECTED.after) },
      ...visits.map((years) => ({
        at: END + years,
        value: reading(years < loss ? CORRECTED.after : CORRECTED.lost),
      })),
    ],
  });
}

/** Yearly visits a few weeks early or late, some missed, over `span` years. */
function yearly(random: RandomStream, span: number, missed = 0.2): number[] {
  return Array.from({ length: Math.floor(span) }, (_, i) => i + 1 + 0.08 * random.normal()).filter(
    () => random.uniform() >= missed,
  );
}

/** The parts of an answer that are studied here; the whole of it would take ten times as long. */
type Parts = Pick<OutcomeAnswer, 'survival' | 'groups' | 'competing' | 'absence'>;

function answerOf(histories: readonly PatientHistory[], asOf: string | null): Parts {
  const prepared = prepareQuestion(histories, {
    measure: 'overjet',
    rule: 'any-visit',
    level: LEVEL,
    resamples: 50,
    asOf,
  });
  const { study, question, yardstick } = prepared;
  const hooks = { progress: () => undefined, shouldStop: () => false };
  const outcomes = study.map((history) => patientOutcome(history, question, yardstick));
  const survival = survivalAnswer(outcomes, prepared, null, hooks);
  const groups = survivalGroups(outcomes, question, null, hooks);
  if (survival === 'stopped' || groups === 'stopped') throw new Error('nobody stopped it');
  return {
    survival,
    groups,
    competing: competingAnswer(outcomes, question, null),
    absence: absenceAnswer(study, outcomes, [], prepared, survival),
  };
}

const SHAPE = 1 / 0.7;
const MEDIAN = 4;
/** A time of a Weibull distribution of a median, by default 4 years; in group B multiplied by the time ratio. */
function lossTime(random: RandomStream, timeRatio: number, median = MEDIAN): number {
  return (timeRatio * median * random.exponential(1) ** (1 / SHAPE)) / Math.LN2 ** (1 / SHAPE);
}

/** Mean of the smaller of such a time and `until`, by trapezia over thousandths. */
function meanTime(until: number, median: number): number {
  const survival = (years: number): number => Math.exp(-Math.LN2 * (years / median) ** SHAPE);
  const step = until / 1000;
  let area = 0;
  for (let i = 0; i < 1000; i++) area += (step * (survival(i * step) + survival((i + 1) * step))) / 2;
  return area;
}

/** Mean years with the gain of each group and their difference, in groups that are alike. */
function meanTrials(random: RandomStream, patients: number, median: number): Outcomes {
  const histories = Array.from({ length: patients }, (_, place) =>
    historyOf(random, place, {
      loss: lossTime(random, 1, median),
      protocol: place % 2 === 0 ? 'A' : 'B',
      expansion: false,
      visits: yearly(random, 3 + 5 * random.uniform()),
    }),
  );
  const { survival, groups } = answerOf(histories, null);
  const outcome = (mean: NonNullable<typeof survival>['turnbull']['restrictedMean']): Outcome =>
    mean === null ? 'undefined' : outcomeOf(meanTime(mean.until, median), mean.limits);
  return {
    'mean years, all together': [outcome(survival?.turnbull.restrictedMean ?? null)],
    'mean years of a group': groups?.groups.map(({ restrictedMean }) => outcome(restrictedMean)) ?? [],
    'mean years of a group less those of the other': [
      outcomeOf(0, groups?.meanDifferences[0]?.limits ?? null),
    ],
  };
}

function groupTrials(random: RandomStream, patients: number, timeRatio: number): Outcomes {
  const histories = Array.from({ length: patients }, (_, place) => {
    const second = place % 5 < 2;
    return historyOf(random, place, {
      loss: lossTime(random, second ? timeRatio : 1),
      protocol: second ? 'B' : 'A',
      expansion: random.uniform() < 0.4,
      visits: yearly(random, 3 + 5 * random.uniform()),
    });
  });
  const answer = answerOf(histories, null);
  return timeRatio === 1 ? sizeOutcomes(answer) : ratioOutcomes(answer, timeRatio);
}

/** A test of 5 % is an interval of 95 %: its p value stays above 0.05 that often where groups are alike. */
function pOutcome(p: number | null | undefined): Outcome {
  if (p === null || p === undefined) return 'undefined';
  return p > 1 - LEVEL ? 'covered' : 'truth-below';
}

/** Groupings that have nothing to do with the loss here; the size of the gain is measured on the same readings. */
const INDIFFERENT: ReadonlySet<string> = new Set(['protocol', 'expansion', 'sex', 'maturity']);

function sizeOutcomes({ groups, competing }: Parts): Outcomes {
  const tests = (groups?.tests ?? []).filter(({ grouping }) => INDIFFERENT.has(grouping));
  const adjusted = tests.flatMap(({ adjustedP }) => (adjustedP === null ? [] : [adjustedP]));
  const weibull = groups?.regressions[0];
  const gray = competing?.groupTests.lost;
  return {
    'log-rank test by protocol, p above 0.05': [
      pOutcome(tests.find(({ grouping }) => grouping === 'protocol')?.test?.p),
    ],
    'log-rank tests of four groupings after Holm, all p above 0.05': [
      pOutcome(adjusted.length === 0 ? null : Math.min(...adjusted)),
    ],
    'Weibull likelihood ratio by protocol, p above 0.05': [
      pOutcome(weibull === undefined || isRefusal(weibull) ? null : weibull.p),
    ],
    "Gray's test by protocol, p above 0.05": [
      pOutcome(gray === undefined || isRefusal(gray) ? null : gray.p),
    ],
  };
}

function ratioOutcomes({ groups }: Parts, timeRatio: number): Outcomes {
  const [weibull, logLogistic] = groups?.regressions ?? [];
  const limitsOf = (ratios: readonly { label: string; limits: { lower: number; upper: number } }[] | null) =>
    ratios?.find(({ label }) => label === 'B')?.limits ?? null;
  const fitted = weibull === undefined || isRefusal(weibull) ? null : weibull;
  const other = logLogistic === undefined || isRefusal(logLogistic) ? null : logLogistic;
  const cox = groups === null || isRefusal(groups.cox) ? null : groups.cox;
  const hazardRatio = timeRatio ** -SHAPE;
  return {
    'Weibull time ratio of a group': [outcomeOf(timeRatio, limitsOf(fitted?.timeRatios ?? null))],
    'Weibull hazard ratio of a group': [outcomeOf(hazardRatio, limitsOf(fitted?.hazardRatios ?? null))],
    'log-logistic time ratio of a group, times Weibull': [
      outcomeOf(timeRatio, limitsOf(other?.timeRatios ?? null)),
    ],
    'Cox hazard ratio of conventional times': [outcomeOf(hazardRatio, limitsOf(cox))],
  };
}

const SPAN = 8;
/** In the midst of the weeks in which most yearly visits fall, and half-way between. */
const READ_AT = [1, 1.5, 2, 2.5, 3.5, 5];
/** In the midst of visits the curve itself hangs on their order; so much does not matter to anybody. */
const NEAR = 0.05;

/** How those who stay away come to do so: whether, from the planted loss and the visit at hand. */
interface Absence {
  readonly words: string;
  readonly leaves: (random: RandomStream, lost: boolean) => boolean;
}

const ABSENCES: readonly Absence[] = [
  {
    words: 'a fifth of those who still come stay away each year',
    leaves: (random) => random.uniform() < 0.2,
  },
  {
    words: 'who has lost the gain stays away, mostly',
    leaves: (random, lost) => random.uniform() < (lost ? 0.8 : 0.05),
  },
  {
    words: 'who has kept the gain stays away, mostly',
    leaves: (random, lost) => random.uniform() < (lost ? 0.02 : 0.4),
  },
];

/** The same patients seen to the end, and with some of them gone; is the curve of all within the bounds of the rest? */
function boundTrials(random: RandomStream, patients: number, { leaves }: Absence): Outcomes {
  const asOf = dayAt(END + SPAN + 0.2);
  const everybody: PatientHistory[] = [];
  const rest: PatientHistory[] = [];
  for (let place = 0; place < patients; place++) {
    const loss = lossTime(random, 1);
    const visits = yearly(random, SPAN, 0);
    const away = visits.findIndex((years) => leaves(random, years >= loss));
    const all = historyOf(random, place, { loss, protocol: 'A', expansion: false, visits });
    everybody.push(all);
    rest.push(away === -1 ? all : { ...all, visits: all.visits.slice(0, 2 + away) });
  }
  // Of the study in which all came, the estimate; of the other, the bounds.
  const full = answerOf(everybody, asOf).absence.bounds;
  const { bounds } = answerOf(rest, asOf).absence;
  const outcomes: Outcomes = {};
  for (const year of READ_AT) {
    const truth = full.find(({ years }) => years === year)?.estimate ?? null;
    const row = bounds.find(({ years }) => years === year);
    const within = (slack: number): Outcome =>
      truth === null || row === undefined
        ? 'undefined'
        : outcomeOf(truth, { lower: row.worst - slack, upper: row.best + slack });
    outcomes[`worst to best case, year ${year}: the curve had all come`] = [within(1e-6)];
    outcomes[`worst to best case, year ${year}: the same, to 5 points`] = [within(NEAR)];
  }
  return outcomes;
}

const MEAN_DESIGNS: readonly (readonly [patients: number, median: number])[] = [
  [60, 4],
  [60, 15],
  [60, 40],
  [200, 4],
  [200, 40],
];

export const LOSS_OUTCOME_COVERAGE: readonly JointCoverageStudy[] = [
  ...MEAN_DESIGNS.map(([patients, median]): JointCoverageStudy => ({
    situation: `${patients} patients in two groups alike who lose the gain after ${median} years in the middle`,
    level: LEVEL,
    replicates: 1000,
    trials: (random) => meanTrials(random, patients, median),
  })),
  ...[40, 120].map((patients): JointCoverageStudy => ({
    situation: `${patients} patients, groups alike, yearly visits of 3 to 8 years`,
    level: LEVEL,
    replicates: 1000,
    trials: (random) => groupTrials(random, patients, 1),
  })),
  ...[40, 120].map((patients): JointCoverageStudy => ({
    situation: `${patients} patients, two fifths in a group with times 1.6 as long`,
    level: LEVEL,
    replicates: 1000,
    trials: (random) => groupTrials(random, patients, 1.6),
  })),
  ...ABSENCES.map((absence): JointCoverageStudy => ({
    situation: `60 patients; ${absence.words}`,
    // No interval: bounds claim to hold whatever those who stay away are like.
    level: 1,
    replicates: 300,
    trials: (random) => boundTrials(random, 60, absence),
  })),
];

import { answerPrepared, prepareQuestion, type OutcomeAnswer } from '@longhold/core/answers';
import { TYPICAL_PEAK_AGES, type ImportedTable } from '@longhold/core/growth';
import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import type { PatientHistory, Sex } from '@longhold/core/records';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';
import { drawnTable, exactTable, ERROR_SD, size } from './growth-reference-coverage';
import { inventedHistory } from './invented-patient';

/*
 * How long a gain stays where the growth that is taken off is itself estimated, anew in every sample. What is planted is
 * what the same patients, very many of them, would show if growth were known exactly.
 */
type Outcomes = Record<string, Outcome[]>;

const LEVEL = 0.95;
const GAIN = { mean: 5, sd: 0.8, lost: 0.6 };
const YEARS = [1, 2, 3, 5];
const MEAN_UNTIL = 5;
/** Weibull times, median in years, by sex: girls keep the gain longer. */
const MEDIAN = { female: 6, male: 3.5 } as const;
const SHAPE = 1.4;

function patientOf(random: RandomStream, place: number): PatientHistory {
  const sex: Sex = place % 2 === 0 ? 'female' : 'male';
  const start = 10.5 + 2 * random.uniform();
  const gain = GAIN.mean + GAIN.sd * random.normal();
  const loss = (MEDIAN[sex] * random.exponential(1) ** (1 / SHAPE)) / Math.LN2 ** (1 / SHAPE);
  const level = 5 * random.normal();
  const visits = [0, 1, 2, 3, 4, 5, 6].map((years) => {
    const kept = years === 0 ? 0 : years - 1 < loss ? gain : GAIN.lost * gain;
    const natural = size(start + years, TYPICAL_PEAK_AGES[sex]) + level;
    return { at: start + years, value: natural + kept + ERROR_SD * random.normal() };
  });
  return inventedHistory({
    code: `P${String(place).padStart(5, '0')}`,
    sex,
    measure: 'Co-Gn',
    unit: 'mm',
    visits,
    dated: false,
  });
}

function answerOf(
  patients: readonly PatientHistory[],
  table: ImportedTable,
  resamples: number,
): OutcomeAnswer {
  const input = {
    measure: 'Co-Gn',
    reference: 'imported-table',
    rule: 'any-visit',
    threshold: { kind: 'share', share: 0.75 },
    groupBy: 'sex',
    level: LEVEL,
    resamples,
  } as const;
  return answerPrepared(prepareQuestion(patients, input, [table]));
}

const MANY = 6000;
let planted: OutcomeAnswer | null = null;
function truthOf(random: RandomStream): OutcomeAnswer {
  planted ??= answerOf(
    Array.from({ length: MANY }, (_, place) => patientOf(random, place)),
    exactTable(0),
    50,
  );
  return planted;
}

function trials(random: RandomStream, patients: number, children: number): Outcomes {
  const truth = truthOf(random);
  const table = drawnTable(random, { children, longitudinal: false, said: true });
  const drawn = Array.from({ length: patients }, (_, place) => patientOf(random, place));
  const answer = answerOf(drawn, table, 100);
  const at = ({ survival }: OutcomeAnswer, year: number) =>
    survival?.turnbull.atYears.find((one) => one.year === year);
  const outcomes: Outcomes = {};
  for (const year of YEARS) {
    outcomes[`still with the gain, year ${year}`] = [
      outcomeOf(at(truth, year)?.estimate ?? NaN, at(answer, year)?.limits ?? null),
    ];
  }
  const mean = answer.survival?.turnbull.restrictedMean ?? null;
  const trueMean = truth.survival?.turnbull.restrictedMean?.estimate ?? NaN;
  const difference = ({ groups }: OutcomeAnswer) =>
    groups?.meanDifferences.map((one) => (groups.reference === 'Girls' ? one : turned(one)))[0];
  const ratio = ({ groups }: OutcomeAnswer) => {
    const [weibull] = groups?.regressions ?? [];
    const found = weibull === undefined || isRefusal(weibull) ? undefined : weibull.timeRatios[0];
    return found === undefined || groups?.reference === 'Girls' ? found : inverse(found);
  };
  const lost = ({ competing }: OutcomeAnswer) => competing?.atYears.find(({ year }) => year === 3)?.lost;
  const incidence = lost(answer);
  return {
    ...outcomes,
    [`mean years of the first ${MEAN_UNTIL}`]: [
      mean?.until === MEAN_UNTIL ? outcomeOf(trueMean, mean.limits) : 'undefined',
    ],
    'mean years, boys less girls': [
      answer.groups?.groups.every(({ restrictedMean }) => restrictedMean?.until === MEAN_UNTIL) === true
        ? outcomeOf(difference(truth)?.estimate ?? NaN, difference(answer)?.limits ?? null)
        : 'undefined',
    ],
    'Weibull time ratio, boys to girls': [
      outcomeOf(ratio(truth)?.estimate ?? NaN, ratio(answer)?.limits ?? null),
    ],
    'cumulative incidence of loss, year 3': [
      outcomeOf(
        lost(truth)?.probability ?? NaN,
        incidence?.lower == null || incidence.upper === null
          ? null
          : { lower: incidence.lower, upper: incidence.upper },
      ),
    ],
  };
}

interface WithLimits {
  readonly estimate: number;
  readonly limits: { readonly lower: number; readonly upper: number };
}
function turned({ estimate, limits }: WithLimits): WithLimits {
  return { estimate: -estimate, limits: { lower: -limits.upper, upper: -limits.lower } };
}
function inverse({ estimate, limits }: WithLimits): WithLimits {
  return { estimate: 1 / estimate, limits: { lower: 1 / limits.upper, upper: 1 / limits.lower } };
}

const DESIGNS: readonly (readonly [patients: number, children: number])[] = [
  [60, 30],
  [120, 150],
  [120, 1000],
];

export const CURVE_DOUBT_COVERAGE: readonly JointCoverageStudy[] = DESIGNS.map(([patients, children]) => ({
  situation: `${patients} patients, growth from a table of ${children.toLocaleString('en')} children a mean`,
  level: LEVEL,
  replicates: 300,
  trials: (random) => trials(random, patients, children),
}));

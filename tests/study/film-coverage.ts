import { filmErrorComponents } from '@longhold/core/agreement';
import { answerOutcome, type OutcomeQuestionInput } from '@longhold/core/answers';
import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import type { Measurement, Patient, PatientHistory, Visit } from '@longhold/core/records';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';

interface Spread {
  readonly film: number;
  readonly retracing: number;
}

/** How often each film of a visit was read, a list a visit. */
type Plan = readonly (readonly number[])[];

const repeat = (visits: number, films: readonly number[]): Plan =>
  Array.from({ length: visits }, () => films);

const PLANS: readonly (readonly [words: string, plan: Plan])[] = [
  ['25 visits with two films read once, 25 films read twice', [...repeat(25, [1, 1]), ...repeat(25, [2])]],
  [
    '30 visits with two or three films read unequally often',
    [...repeat(15, [2, 1]), ...repeat(10, [1, 3]), ...repeat(5, [2, 1, 1])],
  ],
  ['10 visits with two films, each read twice', repeat(10, [2, 2])],
];

const SPREADS: readonly Spread[] = [
  { film: 0.9, retracing: 0.6 },
  { film: 0.3, retracing: 0.8 },
  { film: 0, retracing: 0.8 },
];

/** Intervals of the two parts of the method error and of the whole. */
const componentStudies = PLANS.flatMap(([words, plan]) =>
  SPREADS.map((spread): JointCoverageStudy => ({
    situation: `${words}; SD between films ${spread.film}, of retracing ${spread.retracing}`,
    level: 0.95,
    replicates: 2000,
    trials(random) {
      const found = filmErrorComponents(drawReadings(random, plan, spread));
      const parts = isRefusal(found) ? null : found;
      return {
        'error between films': [outcomeOf(spread.film, parts?.betweenFilms?.limits ?? null)],
        'error of retracing': [outcomeOf(spread.retracing, parts?.retracing?.limits ?? null)],
        'error of one film read once': [
          outcomeOf(Math.hypot(spread.film, spread.retracing), parts?.whole.limits ?? null),
        ],
      };
    },
  })),
);

function drawReadings(random: RandomStream, plan: Plan, spread: Spread) {
  const rows = plan.flatMap((films, visit) =>
    drawFilms(random, 110 + 6 * random.normal(), films, spread).map((row) => ({ ...row, visit })),
  );
  return {
    visit: rows.map(({ visit }) => visit),
    film: rows.map(({ film }) => film),
    value: rows.map(({ value }) => value),
  };
}

function drawFilms(random: RandomStream, truth: number, films: readonly number[], spread: Spread) {
  return films.flatMap((readings, i) => {
    const own = truth + spread.film * random.normal();
    return Array.from({ length: readings }, (_, k) => ({
      film: i + 1,
      replicate: k + 1,
      value: own + spread.retracing * random.normal(),
    }));
  });
}

/** One visit in five has a second film, one in three is read two or three times. */
function mixedFilms(random: RandomStream): number[] {
  const readings = (): number => (random.uniform() < 0.67 ? 1 : 2 + random.integer(2));
  return random.uniform() < 0.2 ? [readings(), readings()] : [readings()];
}

/** Every visit has one film, read two or three times: nothing tells of films. */
function retracedFilm(random: RandomStream): number[] {
  return [2 + random.integer(2)];
}

const ERROR: Spread = { film: 0.9, retracing: 0.6 };

interface Design {
  readonly measure: 'Co-Gn' | 'IMPA';
  readonly treated: number;
  readonly untreated: number;
  readonly films: (random: RandomStream) => number[];
}

/** Whole invented studies of girls: what each was given by treatment is planted, and asked back patient by patient. */
function gainStudy(
  situation: string,
  design: Design,
  question: OutcomeQuestionInput = {},
): JointCoverageStudy {
  return {
    situation: `${situation}; SD between films ${ERROR.film}, of retracing ${ERROR.retracing}`,
    level: 0.95,
    replicates: 200,
    trials(random) {
      const planted = new Map<string, number>();
      const study = [
        ...Array.from({ length: design.treated }, (_, i) => drawTreated(random, `T-${i}`, design, planted)),
        ...Array.from({ length: design.untreated }, (_, i) => drawUntreated(random, `U-${i}`, design)),
      ];
      const answer = answerOutcome(study, {
        measure: design.measure,
        filmFactor: 1,
        resamples: 50,
        ...question,
      });
      const outcomes: Outcome[] = answer.patients.map(({ code, gain }) =>
        outcomeOf(planted.get(code) ?? NaN, gain?.limits ?? null),
      );
      return { 'gain of one patient': outcomes };
    },
  };
}

/** A girl's expected Co-Gn; an incisor angle does not change with age. */
function expected(measure: Design['measure'], age: number): number {
  return measure === 'IMPA' ? 95 : 100 + 2.2 * (age - 8) - 0.08 * (age - 8) ** 2;
}

const OWN_RATE_SD = 0.4;
const SHORT_TERM_SD = 0.5;

interface Child {
  readonly level: number;
  readonly rate: number;
}

function drawChild(random: RandomStream, measure: Design['measure']): Child {
  return { level: 4 * random.normal(), rate: measure === 'IMPA' ? 0 : OWN_RATE_SD * random.normal() };
}

function drawVisit(
  random: RandomStream,
  { measure, films }: Design,
  child: Child,
  age: number,
  place: Pick<Visit, 'kind' | 'date' | 'ageYears'>,
  treatment: number,
): Visit {
  const shortTerm = measure === 'IMPA' ? 0 : SHORT_TERM_SD * random.normal();
  const truth = expected(measure, age) + child.level + child.rate * (age - 12) + shortTerm + treatment;
  const measurements = drawFilms(random, truth, films(random), ERROR).map((row): Measurement => ({
    ...row,
    measure,
    unit: measure === 'IMPA' ? 'deg' : 'mm',
    examiner: 'E1',
  }));
  return { ...place, filmFactor: 1, filmFactorEvidence: null, measurements };
}

const GIRL = {
  sex: 'female',
  expansion: null,
  maturityStart: null,
  protocol: null,
  consentFollowUp: true,
  consentPooling: false,
} as const;

/** From 12.0 to 13.0 years; the gain is that of treatment, 4 units with an SD of 1 between patients. */
function drawTreated(
  random: RandomStream,
  code: string,
  design: Design,
  planted: Map<string, number>,
): PatientHistory {
  const child = drawChild(random, design.measure);
  const gain = 4 + random.normal();
  planted.set(code, gain);
  // A smaller IMPA is the favourable direction.
  const effect = design.measure === 'IMPA' ? -gain : gain;
  const patient: Patient = {
    ...GIRL,
    code,
    group: 'treated',
    birthDate: '2008-01-01',
    treatmentStart: '2020-01-01',
    activeEnd: '2021-01-01',
  };
  const start = { kind: 'start', date: '2020-01-01', ageYears: null } as const;
  const end = { kind: 'end_of_active', date: '2021-01-01', ageYears: null } as const;
  return {
    patient,
    visits: [
      drawVisit(random, design, child, 12, start, 0),
      drawVisit(random, design, child, 13, end, effect),
    ],
    events: [],
  };
}

function drawUntreated(random: RandomStream, code: string, design: Design): PatientHistory {
  const child = drawChild(random, design.measure);
  const patient: Patient = {
    ...GIRL,
    code,
    group: 'untreated',
    birthDate: null,
    treatmentStart: null,
    activeEnd: null,
  };
  return {
    patient,
    visits: [9, 10, 11, 12, 13, 14, 15].map((age) =>
      drawVisit(random, design, child, age, { kind: 'follow_up', date: null, ageYears: age }, 0),
    ),
    events: [],
  };
}

const gainStudies = [
  gainStudy('200 girls, IMPA, one or two films a visit, each read one to three times', {
    measure: 'IMPA',
    treated: 200,
    untreated: 0,
    films: mixedFilms,
  }),
  gainStudy('100 girls and 40 untreated, Co-Gn, one or two films a visit, each read one to three times', {
    measure: 'Co-Gn',
    treated: 100,
    untreated: 40,
    films: mixedFilms,
  }),
  gainStudy(
    '200 girls, IMPA, one film a visit read two or three times: films unknown, the assumption is broken',
    {
      measure: 'IMPA',
      treated: 200,
      untreated: 0,
      films: retracedFilm,
    },
  ),
  gainStudy('100 girls and 40 untreated, Co-Gn, one film a visit read two or three times: films unknown', {
    measure: 'Co-Gn',
    treated: 100,
    untreated: 40,
    films: retracedFilm,
  }),
];

/** The two parts of the method error, and what one patient's gain is worth where visits rest on unequal numbers of looks. */
export const FILM_COVERAGE: readonly JointCoverageStudy[] = [...componentStudies, ...gainStudies];

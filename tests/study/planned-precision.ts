import { lastingGainOf, planning, prepareQuestion, type PlanningAnswer } from '@longhold/core/answers';
import { createRandom, isRefusal, sortedQuantile, type RandomStream } from '@longhold/core/numeric';
import type { RatioInterval } from '@longhold/core/ratio';
import type { PatientHistory } from '@longhold/core/records';
import { fadingShare, fitFadingPart, type FollowUpSchedule } from '@longhold/core/separation';
import { growthSince8, growthVelocity } from '@longhold/demo';
import { drawSex, historyOf, untreatedChild } from './separation-coverage';

/** What a plan promised for a number of patients, and what invented studies of that design then gave. */
interface PlannedAndFound {
  readonly situation: string;
  readonly patients: number;
  readonly lasting: Widths;
  readonly share: Widths;
  readonly studies: number;
}

/** Half-widths of one interval, promised and found. */
interface Widths {
  /** Null where the plan says that no limits are to be expected. */
  readonly planned: number | null;
  /** Of the studies that gave limits: mean and middle one; not a number where none did. */
  readonly mean: number;
  readonly median: number;
  /** Studies that gave none. */
  readonly without: number;
}

/** A design, with the half-widths that one study of it gives. */
interface Design {
  readonly situation: string;
  readonly years: number;
  /** The plan made from one large study, so that its variances are the planted ones but for a little. */
  readonly plan: (random: RandomStream) => PlanningAnswer;
  readonly study: (patients: number, random: RandomStream) => Halves;
}

/** Half-widths of one study; null where it gives no limits. */
interface Halves {
  readonly lasting: number | null;
  readonly share: number | null;
}

const NUMBERS = [6, 12, 30, 60];
const EVERYBODY_COMES = { dropOut: 0, missed: 0 };
const SOME_STAY_AWAY = { dropOut: 0.1, missed: 0.15 };
const LARGE = 600;
const ERROR_SD = 0.7;
const NO_LIMITS: Halves = { lasting: null, share: null };

/** Plans for 6, 12, 30 and 60 patients against invented studies of so many. */
function plannedAndFound(studies: number, seed: number): PlannedAndFound[] {
  const designs = [EVERYBODY_COMES, SOME_STAY_AWAY].flatMap((chances) => [
    clockDesign({ ...chances, years: 5 }),
    fadingDesign({ ...chances, years: 5 }, 1.5),
  ]);
  return [...designs, fadingDesign({ ...SOME_STAY_AWAY, years: 7 }, 1.8)].flatMap((design) => {
    const plan = design.plan(createRandom(seed));
    const row = plan.rows.find(({ years }) => years === design.years);
    return NUMBERS.map((patients, i) => {
      const found = Array.from({ length: studies }, (_, k) =>
        design.study(patients, createRandom(seed + 1 + k)),
      );
      return {
        situation: design.situation,
        patients,
        lasting: widthsOf(
          row?.lasting[i] ?? null,
          found.map(({ lasting }) => lasting),
        ),
        share: widthsOf(
          row?.share[i] ?? null,
          found.map(({ share }) => share),
        ),
        studies,
      };
    });
  });
}

const HEADER = [
  '| design | patients | T planned | T found: mean, middle | without limits | share planned | share found: mean, middle | without limits | studies |',
  '| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |',
];

/** The chapter of the validation page on plans, without its heading. */
export function plannedChapter(studies: number, seed: number): string[] {
  const write = (value: number | null, digits: number): string =>
    value === null || Number.isNaN(value) ? 'none' : value.toFixed(digits);
  const cells = ({ planned, mean, median, without }: Widths, digits: number): string[] => [
    `**${write(planned, digits)}**`,
    `${write(mean, digits)}, ${write(median, digits)}`,
    `${without}`,
  ];
  return [
    `Half-widths of 95 % intervals of the lasting gain T (mm) and of its share. A plan is made from an invented study of ${LARGE} patients; then ${studies} studies of the planned number are invented and answered. "None": the plan says that no limits are to be expected, since too few are followed for a fit, the fading part is not bounded or the share's set is open. Means and middles are of the studies that gave limits; where many give none, these are the narrow ones, and below a plan that counts all.`,
    '',
    ...HEADER,
    ...plannedAndFound(studies, seed).map(
      ({ situation, patients, lasting, share }) =>
        `| ${[situation, `${patients}`, ...cells(lasting, 2), ...cells(share, 3), `${studies}`].join(' | ')} |`,
    ),
    '',
  ];
}

function widthsOf(planned: number | null, halves: readonly (number | null)[]): Widths {
  const given = halves.filter((half) => half !== null).sort((a, b) => a - b);
  const mean = given.reduce((sum, half) => sum + half, 0) / given.length;
  return {
    planned,
    mean,
    median: sortedQuantile(given, 0.5),
    without: halves.length - given.length,
  };
}

function planOf(
  study: readonly PatientHistory[],
  measure: string,
  { dropOut, missed }: FollowUpSchedule,
): PlanningAnswer {
  const plan = planning(prepareQuestion(study, { measure }), { dropOut, missed, numbers: NUMBERS });
  if (isRefusal(plan)) throw new Error(plan.message);
  return plan;
}

function inWords({ years, dropOut, missed }: FollowUpSchedule): string {
  const away =
    dropOut + missed === 0
      ? 'everybody comes'
      : `${100 * dropOut} % a year lost for good, ${100 * missed} % of visits missed`;
  return `${years} years, ${away}`;
}

/** Growth clock on Co-Gn: gains planted as T + S v(age), the curve estimated from the same 40 untreated children each time. */
function clockDesign(schedule: FollowUpSchedule): Design {
  const children = createRandom(7);
  const untreated = Array.from({ length: 40 }, (_, i) => untreatedChild(`U${i}`, children));
  const studyOf = (patients: number, random: RandomStream): PatientHistory[] => [
    ...Array.from({ length: patients }, (_, i) => clockPatient(`T${i}`, schedule, random)),
    ...untreated,
  ];
  return {
    situation: `growth clock, ${inWords(schedule)}`,
    years: schedule.years,
    plan: (random) => planOf(studyOf(LARGE, random), 'Co-Gn', schedule),
    study: (patients, random) => {
      const found = lastingGainOf(prepareQuestion(studyOf(patients, random), { measure: 'Co-Gn' }));
      if (isRefusal(found)) return NO_LIMITS;
      return { lasting: halfOf(found.lasting.limits), share: halfOfRatio(found.share.interval) };
    },
  };
}

function clockPatient(code: string, schedule: FollowUpSchedule, random: RandomStream): PatientHistory {
  const sex = drawSex(random);
  const start = (sex === 'female' ? 12.2 : 13.4) + 0.8 * random.normal();
  const end = start + Math.max(0.4, 0.85 + 0.16 * random.normal());
  const lasting = 2.5 + 1.6 * random.normal();
  const forward = 0.7 + 0.35 * random.normal();
  const level = 100 + 4 * random.normal();
  const ages = [start, end, ...yearsSeen(schedule, random).map((year) => end + year)];
  const values = ages.map((age, i) => {
    const gain = i === 0 ? 0 : lasting + forward * growthVelocity(sex, age);
    return level + growthSince8(sex, age) + gain + ERROR_SD * random.normal();
  });
  return historyOf(code, sex, 'treated', ages, values);
}

/** The years in which a patient comes, of those awaited. */
function yearsSeen({ years, dropOut, missed }: FollowUpSchedule, random: RandomStream): number[] {
  const seen: number[] = [];
  for (let year = 1; year <= years; year++) {
    if (random.uniform() < dropOut) break;
    if (random.uniform() >= missed) seen.push(year);
  }
  return seen;
}

/** Fading part on overjet, which does not grow: gains planted as T + P exp(-t / tau). */
function fadingDesign(schedule: FollowUpSchedule, tau: number): Design {
  return {
    situation: `fading part, tau ${tau} years, ${inWords(schedule)}`,
    years: schedule.years,
    plan: (random) =>
      planOf(
        Array.from({ length: LARGE }, (_, i) =>
          overjetHistory(`T${i}`, fadingPatient(schedule, tau, random)),
        ),
        'overjet',
        schedule,
      ),
    study: (patients, random) => {
      const series = { patient: [] as number[], gain: [] as number[], time: [] as number[] };
      for (let i = 0; i < patients; i++) {
        const { times, gains } = fadingPatient(schedule, tau, random);
        series.patient.push(...times.map(() => i));
        series.time.push(...times);
        series.gain.push(...gains);
      }
      const fit = fitFadingPart(series);
      if (isRefusal(fit)) return NO_LIMITS;
      return { lasting: halfOf(fit.lasting), share: halfOfRatio(fadingShare(fit).interval) };
    },
  };
}

interface FadingPatient {
  readonly times: readonly number[];
  readonly gains: readonly number[];
}

function fadingPatient(schedule: FollowUpSchedule, tau: number, random: RandomStream): FadingPatient {
  const lasting = 2.5 + 1.2 * random.normal();
  const fading = 2.5 + 0.8 * random.normal();
  const atStart = ERROR_SD * random.normal();
  const times = [0, ...yearsSeen(schedule, random)];
  return {
    times,
    gains: times.map(
      (time) => lasting + fading * Math.exp(-time / tau) + ERROR_SD * random.normal() - atStart,
    ),
  };
}

/** The records behind such gains: overjet is better when it is smaller. */
function overjetHistory(code: string, { times, gains }: FadingPatient): PatientHistory {
  const ages = [11, ...times.map((time) => 12 + time)];
  return historyOf(code, 'female', 'treated', ages, [9, ...gains.map((gain) => 9 - gain)], 'overjet');
}

function halfOf(
  limits: { readonly lower: number | null; readonly upper: number | null } | null,
): number | null {
  if (limits === null || limits.lower === null || limits.upper === null) return null;
  return (limits.upper - limits.lower) / 2;
}

function halfOfRatio(interval: RatioInterval): number | null {
  return interval.kind === 'bounded' ? halfOf(interval) : null;
}

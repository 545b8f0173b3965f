import { z } from 'zod';
import { referenceCovers } from '../growth';
import { isRefusal, refuse, type Refusal } from '../numeric';
import type { IsoDate, PatientHistory } from '../records';
import {
  multiplierOf,
  PATIENTS_NEEDED,
  visitPatterns,
  type FollowedKind,
  type TwoPartFit,
  type VisitPattern,
} from '../separation';
import { AWAY_YEARS } from './absence';
import { askedAbout } from './eligible';
import { favourableVelocity, gainRows, type GainRow } from './gain-rows';
import { patientContrasts } from './patient-outcome';
import { nextVisit, TAU_NOT_FIXED, valuesByPatient, type NextVisit } from './patient-worth';
import { clockReach, fadingReach, halfOf, type ReachOfStudy } from './planned-reach';
import type { FollowedOn, PlannedYears, PlanningAnswer } from './planning-answer';
import type { PreparedQuestion } from './prepared-question';
import { absentFor, returnAfterAbsence } from './return-after-absence';
import { readClock, readFading } from './separate-gain';

/** What a study is planned for. */
export const planningSchema = z.strictObject({
  /** The lasting gain is to be known to plus or minus this, in the unit of the measure. */
  target: z.number().gt(0).max(20).default(0.5),
  /** Chance, each year, of not being seen from then on. */
  dropOut: z.number().min(0).max(0.8).default(0.1),
  /** Chance that a yearly visit is missed. */
  missed: z.number().min(0).max(0.8).default(0.15),
  /** Numbers of new patients to say the half-widths of; fewer cannot be read. */
  numbers: z
    .array(z.int().min(PATIENTS_NEEDED).max(100_000))
    .min(1)
    .max(12)
    .default([10, 20, 40, 80, 160, 320]),
});
export type PlanningInput = z.input<typeof planningSchema>;

const MOST_YEARS = 8;
const MOST_CONTINUED_YEARS = 5;
/** Kinds of patients that stand for all: more would only cost time. */
const MOST_KINDS = 40;
const MOST_CONTINUED = 120;
const MOST_PATIENTS = 100_000;

/** A fitted model as a plan needs it. A visit is a value of the regressor, or a time for the fading part. */
interface PlannedModel {
  readonly readFrom: PlanningAnswer['readFrom'];
  readonly fit: TwoPartFit;
  /** Half-width of T that the growth curve leaves, whatever the number of patients. */
  readonly floor: number;
  /** What studies with such visits would reach. */
  readonly reach: (patterns: readonly VisitPattern<number>[]) => ReachOfStudy;
  /** Kinds of new patients, from the end of active treatment on. */
  readonly kinds: readonly FollowedKind<number>[];
  /** Visits made so far, and what a visit to come would be. */
  readonly made: ReadonlyMap<string, readonly number[]>;
  readonly visitOf: (next: NextVisit) => number;
}

/**
 * How many patients, followed for how long, would tell the lasting gain to plus or minus a target, and what the present
 * patients would tell if they were followed on: from the variances between and within patients of the study at hand,
 * patients of the same ages and sexes, yearly visits, and chances of staying away that have nothing to do with the gain.
 * By the growth clock; for a measure that does not grow by the fading part, whose tau is estimated from the same visits.
 * Intervals are those that an answer would give, on the degrees of freedom that the design is expected to have. An
 * expectation, not a promise: single studies scatter about it, few patients more than many.
 */
export function planning(prepared: PreparedQuestion, input: PlanningInput): PlanningAnswer | Refusal {
  const { target, dropOut, missed, numbers } = planningSchema.parse(input);
  const { study, question } = prepared;
  const histories = askedAbout(study, question).filter(({ patient }) => patient.consentFollowUp);
  const model = plannedModel(prepared, histories);
  if (isRefusal(model)) return model;
  const present = halfOf(model.fit.lasting);
  if (present === null) return refuse('tau-not-fixed', TAU_NOT_FIXED);
  const rows = Array.from({ length: MOST_YEARS }, (_, i): PlannedYears => {
    const reach = model.reach(visitPatterns(model.kinds, { years: i + 1, dropOut, missed }));
    const reached = numbers.map(reach);
    return {
      years: i + 1,
      lasting: reached.map(({ lasting }) => lasting),
      share: reached.map(({ share }) => share),
      patients: fewest(reach, target),
    };
  });
  return {
    readFrom: model.readFrom,
    target,
    dropOut,
    missed,
    numbers,
    rows: rows.filter(({ lasting }) => lasting.some((half) => half !== null)),
    floor: model.floor,
    present: { lasting: present, patients: model.fit.patients },
    continued: continuedStudy(prepared, histories, model, present, { dropOut, missed }),
  };
}

function plannedModel(
  prepared: PreparedQuestion,
  histories: readonly PatientHistory[],
): PlannedModel | Refusal {
  const { question, yardstick } = prepared;
  const contrasts = histories.flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  const rows = gainRows(contrasts, yardstick);
  return yardstick.reference.kind === 'not-needed'
    ? fadingModel(rows, question.level)
    : clockModel(rows, prepared);
}

function clockModel(rows: readonly GainRow[], prepared: PreparedQuestion): PlannedModel | Refusal {
  const { level } = prepared.question;
  const clock = readClock(rows, prepared.yardstick, level);
  if (isRefusal(clock)) return clock;
  const kinds = clockKinds(rows, prepared);
  if (kinds.length === 0) {
    return refuse(
      'no-growth',
      'The growth reference does not reach far enough beyond the end of treatment to plan with.',
    );
  }
  const { fit, meanAt, regressor } = clock;
  const { transfer } = fit;
  const atEnd = meanAt(0);
  return {
    readFrom: 'growth-clock',
    fit,
    floor:
      transfer === null
        ? 0
        : multiplierOf(null, level) * Math.sqrt(transfer.covariance(transfer.lasting, transfer.lasting)),
    reach: (patterns) => clockReach(fit, atEnd, level, patterns),
    kinds,
    made: valuesByPatient(rows, (_, i) => regressor[i] ?? NaN),
    visitOf: ({ velocity }) => velocity,
  };
}

function fadingModel(rows: readonly GainRow[], level: number): PlannedModel | Refusal {
  const fading = readFading(rows, level);
  if (isRefusal(fading)) return fading;
  const { fit } = fading;
  if (!fit.tauBounded) return refuse('tau-not-fixed', TAU_NOT_FIXED);
  return {
    readFrom: 'fading-part',
    fit,
    floor: 0,
    reach: (patterns) => fadingReach(fit, level, patterns),
    kinds: [{ made: [0], awaited: Array.from({ length: MOST_YEARS }, (_, year) => year + 1), comes: 1 }],
    made: valuesByPatient(rows, ({ years }) => years),
    visitOf: ({ years }) => years,
  };
}

/** The velocity of some of the patients at the end of treatment and at each yearly visit; null past the reference. */
function clockKinds(rows: readonly GainRow[], { yardstick }: PreparedQuestion): FollowedKind<number>[] {
  const { reference, direction } = yardstick;
  const ends = rows.filter(({ years }) => years === 0);
  return someOf(ends, MOST_KINDS).map(({ sex, age }) => ({
    made: [favourableVelocity(reference, direction, sex, age)],
    comes: 1,
    awaited: Array.from({ length: MOST_YEARS }, (_, i) => {
      const then = age + i + 1;
      return referenceCovers(reference, sex, then) === 'outside'
        ? null
        : favourableVelocity(reference, direction, sex, then);
    }),
  }));
}

/** At most so many of a list, evenly spread over it. */
function someOf<Member>(all: readonly Member[], most: number): Member[] {
  const step = Math.max(1, Math.ceil(all.length / most));
  return all.filter((_, i) => i % step === 0);
}

/** The present half-width, less by the ratio that the further visits are expected to make. */
function continuedStudy(
  { question, yardstick }: PreparedQuestion,
  histories: readonly PatientHistory[],
  { made, reach, visitOf }: PlannedModel,
  present: number,
  chances: { readonly dropOut: number; readonly missed: number },
): FollowedOn {
  const { asOf } = question;
  if (asOf === null) return { callable: 0, absent: 0, absentReturn: null, years: [] };
  const awaitedOf = (history: PatientHistory): (number | null)[] =>
    Array.from({ length: MOST_CONTINUED_YEARS }, (_, i) => {
      const next = nextVisit(history, true, asOf, question, yardstick, i + 1);
      return typeof next === 'string' ? null : visitOf(next);
    });
  const chanceOf = chanceOfComing(histories, asOf);
  const members = histories.flatMap((history) => {
    const visits = made.get(history.patient.code);
    if (visits === undefined) return [];
    const awaited = awaitedOf(history);
    return [{ visits, awaited, callable: awaited.some((visit) => visit !== null), ...chanceOf(history) }];
  });
  const kinds = someOf(members, MOST_CONTINUED).map(
    ({ visits, awaited, callable, comes }): FollowedKind<number> => ({
      made: visits,
      awaited,
      comes: callable ? (comes ?? 0) : 0,
    }),
  );
  const callable = members.filter((member) => member.callable);
  const absent = callable.filter((member) => member.absent);
  const halfOfAll = (patterns: readonly VisitPattern<number>[]): number | null =>
    reach(patterns)(members.length).lasting;
  const now = halfOfAll(kinds.map(({ made: visits }) => ({ visits, share: 1 / kinds.length })));
  const known = absent.some(({ comes }) => comes !== null);
  return {
    callable: callable.length,
    absent: absent.length,
    absentReturn: known ? absent.reduce((sum, { comes }) => sum + (comes ?? 0), 0) / absent.length : null,
    years: Array.from({ length: MOST_CONTINUED_YEARS }, (_, i) => i + 1).flatMap((years) => {
      const then = halfOfAll(visitPatterns(kinds, { years, ...chances }));
      return now === null || then === null ? [] : [{ years, lasting: (present * then) / now }];
    }),
  };
}

/** Whether a patient counts as absent, and the chance of coming at all: 1 for the others, null where nothing tells. */
function chanceOfComing(
  histories: readonly PatientHistory[],
  asOf: IsoDate,
): (history: PatientHistory) => { readonly absent: boolean; readonly comes: number | null } {
  const chanceAfter = returnAfterAbsence(histories, asOf);
  return (history) => {
    const years = absentFor(history, asOf);
    if (years !== null && years <= AWAY_YEARS) return { absent: false, comes: 1 };
    return { absent: true, comes: years === null ? null : chanceAfter(years) };
  };
}

/** The fewest patients whose half-width is at most the target; null where no number up to a limit is enough. */
function fewest(reach: ReachOfStudy, target: number): number | null {
  const suffices = (patients: number): boolean => (reach(patients).lasting ?? Infinity) <= target;
  if (!suffices(MOST_PATIENTS)) return null;
  let [few, enough] = [PATIENTS_NEEDED - 1, MOST_PATIENTS];
  while (enough - few > 1) {
    const middle = Math.floor((few + enough) / 2);
    if (suffices(middle)) enough = middle;
    else few = middle;
  }
  return enough;
}

import { z } from 'zod';
import { referenceCovers } from '../growth';
import { isRefusal, refuse, twoSidedNormal, type Refusal } from '../numeric';
import type { PatientHistory } from '../records';
import {
  expectedInformation,
  fadingInformation,
  inverseInformation,
  patientInformation,
  PATIENTS_NEEDED,
  regressorSums,
  withoutTau,
  withTauEstimated,
  type Covariance,
  type CurveTransfer,
  type FadingInformation,
  type FadingPartFit,
  type FollowedKind,
  type GrowthClockFit,
  type TwoPartFit,
} from '../separation';
import { askedAbout } from './eligible';
import { favourableVelocity, gainRows, type GainRow } from './gain-rows';
import { patientContrasts } from './patient-outcome';
import { componentsOf, nextVisit, TAU_NOT_FIXED, valuesByPatient, type NextVisit } from './patient-worth';
import type { ContinuedYears, PlannedYears, PlanningAnswer } from './planning-answer';
import type { PreparedQuestion } from './prepared-question';
import { readClock, readFading, type ReadModel } from './separate-gain';

/** What a study is planned for. */
export const planningSchema = z.strictObject({
  /** The lasting gain is to be known to plus or minus this, in the unit of the measure. */
  target: z.number().gt(0).max(20).default(0.5),
  /** Chance, each year, of not being seen from then on. */
  dropOut: z.number().min(0).max(0.8).default(0.1),
  /** Chance that a yearly visit is missed. */
  missed: z.number().min(0).max(0.8).default(0.15),
});
export type PlanningInput = z.input<typeof planningSchema>;

const NUMBERS = [10, 20, 40, 80, 160, 320];
const MOST_YEARS = 8;
const MOST_CONTINUED_YEARS = 5;
/** Kinds of patients that stand for all: more would only cost time. */
const MOST_KINDS = 60;
const MOST_CONTINUED = 300;
const MOST_PATIENTS = 100_000;

/** A fitted model as a plan needs it. A visit is a value of the regressor, or a time for the fading part. */
interface PlannedModel {
  readonly readFrom: PlanningAnswer['readFrom'];
  readonly fit: TwoPartFit;
  /** Regressor at the end of active treatment, mean over patients. */
  readonly atEnd: number;
  /** What the growth curve leaves in doubt, whatever the number of patients. */
  readonly curve: Covariance;
  /** The information of a patient with these visits. */
  readonly read: (visits: readonly number[]) => FadingInformation;
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
 * An expectation, by the normal distribution, not a promise.
 */
export function planning(prepared: PreparedQuestion, input: PlanningInput): PlanningAnswer | Refusal {
  const { target, dropOut, missed } = planningSchema.parse(input);
  const { study, question } = prepared;
  const histories = askedAbout(study, question).filter(({ patient }) => patient.consentFollowUp);
  const model = plannedModel(prepared, histories);
  if (isRefusal(model)) return model;
  const { fit, curve, atEnd } = model;
  const multiplier = twoSidedNormal(question.level);
  const { lasting: t, passing: s } = fit;
  const shareFloor = varianceOfShare(t.estimate, s.estimate, atEnd, curve);
  const planned = Array.from({ length: MOST_YEARS }, (_, i): PlannedYears => {
    const schedule = { years: i + 1, dropOut, missed };
    const one = inverseInformation(withTauEstimated(expectedInformation(model.kinds, schedule, model.read)));
    const lasting = NUMBERS.map((n) => reachOf((one?.lasting ?? Infinity) / n + curve.lasting, multiplier));
    const shareVariance = one === null ? Infinity : varianceOfShare(t.estimate, s.estimate, atEnd, one);
    return {
      years: i + 1,
      lasting,
      share: NUMBERS.map((n) => reachOf(shareVariance / n + shareFloor, multiplier)),
      patients: fewest(one, curve.lasting, target / multiplier),
    };
  });
  return {
    readFrom: model.readFrom,
    target,
    dropOut,
    missed,
    numbers: NUMBERS,
    rows: planned.filter(({ lasting }) => lasting.every(Number.isFinite)),
    floor: reachOf(curve.lasting, multiplier),
    present: { lasting: presentReach(model, multiplier), patients: fit.patients },
    continued: continuedStudy(prepared, histories, model, { dropOut, missed }, multiplier),
  };
}

function plannedModel(
  prepared: PreparedQuestion,
  histories: readonly PatientHistory[],
): PlannedModel | Refusal {
  const { question, yardstick } = prepared;
  const contrasts = histories.flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  const rows = gainRows(contrasts, yardstick);
  if (yardstick.reference.kind === 'not-needed') {
    const fading = readFading(rows, question.level);
    if (isRefusal(fading)) return fading;
    return fading.fit.tauBounded ? fadingModel(fading.fit, rows) : refuse('tau-not-fixed', TAU_NOT_FIXED);
  }
  const clock = readClock(rows, yardstick, question.level);
  if (isRefusal(clock)) return clock;
  const kinds = clockKinds(rows, prepared);
  if (kinds.length > 0) return clockModel(clock, rows, kinds);
  return refuse(
    'no-growth',
    'The growth reference does not reach far enough beyond the end of treatment to plan with.',
  );
}

function clockModel(
  { fit, meanAt, regressor }: ReadModel<GrowthClockFit>,
  rows: readonly GainRow[],
  kinds: readonly FollowedKind<number>[],
): PlannedModel {
  const components = componentsOf(fit);
  return {
    readFrom: 'growth-clock',
    fit,
    atEnd: meanAt(0).x,
    curve: curveCovariances(fit.transfer),
    read: (visits) => withoutTau(patientInformation(regressorSums(visits), components)),
    kinds,
    made: valuesByPatient(rows, (_, i) => regressor[i] ?? NaN),
    visitOf: ({ velocity }) => velocity,
  };
}

function fadingModel(fit: FadingPartFit, rows: readonly GainRow[]): PlannedModel {
  const components = componentsOf(fit);
  const place = { tau: fit.tau, passing: fit.passing.estimate };
  return {
    readFrom: 'fading-part',
    fit,
    atEnd: 1,
    curve: curveCovariances(null),
    read: (times) => fadingInformation(times, place, components),
    kinds: [{ made: [0], awaited: Array.from({ length: MOST_YEARS }, (_, year) => year + 1) }],
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

/** Half-width of T now: that of the answer; to first order in tau for the fading part, whose limits need not be even. */
function presentReach({ readFrom, fit, made, read }: PlannedModel, multiplier: number): number {
  if (readFrom === 'growth-clock') return multiplier * fit.lasting.standardError;
  const kinds = [...made.values()].map((visits) => ({ made: visits, awaited: [] }));
  const one = meanInformation(kinds, { years: 0, dropOut: 0, missed: 0 }, read);
  return reachOf((one?.lasting ?? Infinity) / kinds.length, multiplier);
}

function meanInformation(
  kinds: readonly FollowedKind<number>[],
  schedule: Parameters<typeof expectedInformation>[1],
  read: PlannedModel['read'],
): Covariance | null {
  return inverseInformation(withTauEstimated(expectedInformation(kinds, schedule, read)));
}

function continuedStudy(
  { question, yardstick }: PreparedQuestion,
  histories: readonly PatientHistory[],
  { made, read, curve, visitOf }: PlannedModel,
  chances: { readonly dropOut: number; readonly missed: number },
  multiplier: number,
): PlanningAnswer['continued'] {
  const { asOf } = question;
  if (asOf === null) return { callable: 0, years: [] };
  const members = histories.flatMap((history) => {
    const visits = made.get(history.patient.code);
    return visits === undefined ? [] : [{ history, visits }];
  });
  const awaitedOf = (history: PatientHistory): (number | null)[] =>
    Array.from({ length: MOST_CONTINUED_YEARS }, (_, i) => {
      const next = nextVisit(history, true, asOf, question, yardstick, i + 1);
      return typeof next === 'string' ? null : visitOf(next);
    });
  const kinds = someOf(members, MOST_CONTINUED).map(({ history, visits }) => ({
    made: visits,
    awaited: awaitedOf(history),
  }));
  const years = Array.from({ length: MOST_CONTINUED_YEARS }, (_, i) => i + 1).flatMap(
    (year): ContinuedYears[] => {
      const one = meanInformation(kinds, { years: year, ...chances }, read);
      const lasting = reachOf((one?.lasting ?? Infinity) / members.length + curve.lasting, multiplier);
      return Number.isFinite(lasting) ? [{ years: year, lasting }] : [];
    },
  );
  const callable = members.filter(({ history }) => awaitedOf(history).some((visit) => visit !== null)).length;
  return { callable, years };
}

/** What the growth curve leaves in doubt of T and S, whatever the number of patients; nothing where it is taken as known. */
function curveCovariances(transfer: CurveTransfer | null): Covariance {
  if (transfer === null) return { lasting: 0, both: 0, passing: 0 };
  const { lasting, passing, covariance } = transfer;
  return {
    lasting: covariance(lasting, lasting),
    both: covariance(lasting, passing),
    passing: covariance(passing, passing),
  };
}

function reachOf(variance: number, multiplier: number): number {
  return multiplier * Math.sqrt(variance);
}

/** Delta method for T / (T + S x0). */
function varianceOfShare(
  lasting: number,
  passing: number,
  x: number,
  { lasting: a, both: b, passing: c }: Covariance,
): number {
  const gain = lasting + passing * x;
  const byLasting = (passing * x) / gain ** 2;
  const byPassing = (-lasting * x) / gain ** 2;
  return byLasting ** 2 * a + 2 * byLasting * byPassing * b + byPassing ** 2 * c;
}

function fewest(one: Covariance | null, curve: number, standardError: number): number | null {
  const left = standardError ** 2 - curve;
  if (one === null || left <= 0) return null;
  const patients = Math.max(PATIENTS_NEEDED, Math.ceil(one.lasting / left));
  return patients <= MOST_PATIENTS ? patients : null;
}

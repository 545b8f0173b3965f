import { z } from 'zod';
import { referenceCovers } from '../growth';
import { isRefusal, refuse, twoSidedNormal, type Refusal } from '../numeric';
import {
  expectedInformation,
  inverseInformation,
  PATIENTS_NEEDED,
  type Covariance,
  type CurveTransfer,
} from '../separation';
import { askedAbout } from './eligible';
import { favourableVelocity, gainRows } from './gain-rows';
import { patientContrasts } from './patient-outcome';
import type { PreparedQuestion } from './prepared-question';
import { readClock } from './separate-gain';

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

/** What a study of one length would tell. */
export interface PlannedYears {
  readonly years: number;
  /** Half-width of the interval of T for the numbers of patients in `PlanningAnswer.numbers`, unit of the measure. */
  readonly lasting: readonly number[];
  /** Half-width of the interval of the lasting share, by the delta method. */
  readonly share: readonly number[];
  /** Fewest patients for T to plus or minus the target; null where no number is enough, since the growth curve is not sure enough. */
  readonly patients: number | null;
}

/** How many patients and years would tell the lasting gain to plus or minus a target. */
export interface PlanningAnswer {
  readonly target: number;
  readonly numbers: readonly number[];
  readonly rows: readonly PlannedYears[];
  /** Half-width of T that the growth curve's uncertainty alone makes; 0 where the curve is taken as known. */
  readonly floor: number;
  /** What the present study has reached: half-width of T, and its patients. */
  readonly present: { readonly lasting: number; readonly patients: number };
}

const NUMBERS = [10, 20, 40, 80, 160, 320];
const MOST_YEARS = 8;
/** Kinds of patients that stand for all: more would only cost time. */
const MOST_KINDS = 60;
const MOST_PATIENTS = 100_000;

/**
 * How many patients, followed for how long, would tell the lasting gain to plus or minus a target: from the variances
 * between and within patients of the study at hand, patients of the same ages and sexes, yearly visits, and chances of
 * staying away that have nothing to do with the gain. An expectation, by the normal distribution, not a promise.
 */
export function planning(prepared: PreparedQuestion, input: PlanningInput): PlanningAnswer | Refusal {
  const { target, dropOut, missed } = planningSchema.parse(input);
  const { study, question, yardstick } = prepared;
  const contrasts = askedAbout(study, question)
    .filter(({ patient }) => patient.consentFollowUp)
    .flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  const rows = gainRows(contrasts, yardstick);
  const clock = readClock(rows, yardstick, question.level);
  if (isRefusal(clock)) return clock;
  const kinds = kindsOf(rows, prepared);
  if (kinds.length === 0) {
    return refuse(
      'no-growth',
      'The growth reference does not reach far enough beyond the end of treatment to plan with.',
    );
  }
  const { fit } = clock;
  const components = { betweenPatients: fit.betweenPatients, residualVariance: fit.residualSd ** 2 };
  const multiplier = twoSidedNormal(question.level);
  const curve = curveCovariances(fit.transfer);
  const atEnd = clock.meanAt(0).x;
  const shareFloor = varianceOfShare(fit.lasting.estimate, fit.passing.estimate, atEnd, curve);
  const planned = Array.from({ length: MOST_YEARS }, (_, i): PlannedYears => {
    const schedule = { years: i + 1, dropOut, missed };
    const one = inverseInformation(expectedInformation(kinds, schedule, components));
    const lasting = NUMBERS.map((n) => reachOf((one?.lasting ?? Infinity) / n + curve.lasting, multiplier));
    const shareVariance =
      one === null ? Infinity : varianceOfShare(fit.lasting.estimate, fit.passing.estimate, atEnd, one);
    return {
      years: i + 1,
      lasting,
      share: NUMBERS.map((n) => reachOf(shareVariance / n + shareFloor, multiplier)),
      patients: fewest(one, curve.lasting, target / multiplier),
    };
  });
  return {
    target,
    numbers: NUMBERS,
    rows: planned.filter(({ lasting }) => lasting.every(Number.isFinite)),
    floor: reachOf(curve.lasting, multiplier),
    present: { lasting: multiplier * fit.lasting.standardError, patients: fit.patients },
  };
}

/** The velocity of some of the patients at the end of treatment and at each yearly visit; NaN past the reference. */
function kindsOf(rows: ReturnType<typeof gainRows>, { yardstick }: PreparedQuestion): number[][] {
  const { reference, direction } = yardstick;
  const ends = rows.filter(({ years }) => years === 0);
  const step = Math.max(1, Math.ceil(ends.length / MOST_KINDS));
  return ends
    .filter((_, i) => i % step === 0)
    .map(({ sex, age }) => {
      return Array.from({ length: MOST_YEARS + 1 }, (_, year) =>
        referenceCovers(reference, sex, age + year) === 'outside'
          ? NaN
          : favourableVelocity(reference, direction, sex, age + year),
      );
    });
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

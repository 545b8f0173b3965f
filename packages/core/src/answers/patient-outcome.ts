import { expectedSize, referenceCovers } from '../growth';
import { normalQuantile, twoSidedNormal } from '../numeric';
import type { PatientHistory, Sex } from '../records';
import {
  adjustedGain,
  estimateContrast,
  gainContrast,
  isMeasurable,
  judgeMargin,
  retainedShare,
  shareContrast,
  statusWithout,
  type AdjustedGain,
  type Contrast,
  type CoursePoint,
  type Margin,
  type Status,
  type Yardstick,
} from '../retention';
import { lossInterval, type CensoredInterval, type LossRule, type MarginVisit } from '../survival';
import type { LeftOutReason, PatientOutcome, VisitOutcome } from './answer';
import type { OutcomeQuestion } from './question';
import { covered, isUnsized, readCourse, usableFollowUp, type Course, type ReadPoint } from './read-course';

/** One treated patient's course and outcome under a question. Pure; the yardstick is shared by all patients. */
export function patientOutcome(
  history: PatientHistory,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): PatientOutcome {
  const course = readCourse(history, question, yardstick);
  const { sex, code, protocol, expansion, maturityStart } = history.patient;
  const gain = gainOfTreatment(course, question, yardstick);
  const visits = course.points.map((point) => visitOutcome(point, course, gain, question, yardstick));
  const leftOut = whyLeftOut(course, gain, question, yardstick);
  const lossByRule = leftOut === null ? timesToLoss(course, question, yardstick) : null;
  return {
    code,
    sex,
    protocol,
    expansion,
    maturityStart,
    gain,
    visits,
    unsized: course.unsized,
    status: latestStatus(course, visits, gain, yardstick),
    loss: lossByRule === null ? null : lossByRule[question.rule],
    lossByRule,
    treatedAgainAt: course.treatedAgainAt,
    leftOut,
  };
}

/** When one patient lost the gain, without the verdicts visit by visit that go with a whole outcome. */
export type PatientLosses = Pick<PatientOutcome, 'code' | 'treatedAgainAt' | 'lossByRule' | 'leftOut'>;

/** Loss intervals of one patient under every rule, or why the patient is not in the risk set. */
export function patientLosses(
  history: PatientHistory,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): PatientLosses {
  const course = readCourse(history, question, yardstick);
  const gain = gainOfTreatment(course, question, yardstick);
  const leftOut = whyLeftOut(course, gain, question, yardstick);
  return {
    code: history.patient.code,
    treatedAgainAt: course.treatedAgainAt,
    lossByRule: leftOut === null ? timesToLoss(course, question, yardstick) : null,
    leftOut,
  };
}

/** What a group's statistics need of one patient, without the verdicts visit by visit. */
export type PatientRisk = Omit<PatientOutcome, 'visits' | 'unsized' | 'status' | 'lossByRule'>;

/** One patient's loss under the question's rule and contrasts, from one reading of the records. */
export function patientRisk(
  history: PatientHistory,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): { readonly risk: PatientRisk; readonly contrasts: PatientContrasts | null } {
  const course = readCourse(history, question, yardstick);
  const { sex, code, protocol, expansion, maturityStart } = history.patient;
  const gain = gainOfTreatment(course, question, yardstick);
  const leftOut = whyLeftOut(course, gain, question, yardstick);
  const contrasts = contrastsOf(course, question, yardstick);
  const margins = contrasts?.later.map(({ years, margin }) => marginVisit(years, margin)) ?? [];
  return {
    risk: {
      code,
      sex,
      protocol,
      expansion,
      maturityStart,
      gain,
      loss: leftOut === null ? lossInterval(margins, question.rule, normalQuantile(question.level)) : null,
      treatedAgainAt: course.treatedAgainAt,
      leftOut,
    },
    contrasts,
  };
}

/** One patient's contrasts for group estimates: A(0), and at each follow-up visit A(t) and the margin D. */
export interface PatientContrasts {
  readonly code: string;
  readonly sex: Sex;
  readonly first: Contrast;
  readonly later: readonly {
    readonly years: number;
    readonly gain: Contrast;
    readonly marginContrast: Contrast;
    readonly margin: Margin;
  }[];
}

/** The contrasts of one patient; null where A(0) cannot be computed. Visits that growth does not cover are left out. */
export function patientContrasts(
  history: PatientHistory,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): PatientContrasts | null {
  return contrastsOf(readCourse(history, question, yardstick), question, yardstick);
}

function contrastsOf(
  course: Course,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): PatientContrasts | null {
  const { history, start, end } = course;
  if (start === undefined || end === undefined || !covered(course, yardstick, [start, end])) return null;
  const later = usableFollowUp(course, yardstick).flatMap((point) => {
    const contrast = marginContrast(point, course, question);
    if (contrast === null || point.years === null) return [];
    const margin = marginEstimate(contrast, course, question, yardstick);
    return [{ years: point.years, gain: gainContrast(start, point), marginContrast: contrast, margin }];
  });
  return { code: history.patient.code, sex: history.patient.sex, first: gainContrast(start, end), later };
}

function gainOfTreatment(
  course: Course,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): AdjustedGain | null {
  const { start, end } = course;
  if (start === undefined || end === undefined || !covered(course, yardstick, [start, end])) return null;
  return adjustedGain(start, end, course.history.patient.sex, yardstick, question.level);
}

function visitOutcome(
  point: ReadPoint,
  course: Course,
  gainAtEnd: AdjustedGain | null,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): VisitOutcome {
  const { start, end } = course;
  const { sex } = course.history.patient;
  if (start === undefined || !covered(course, yardstick, [start, point])) {
    const missing = start === undefined ? whyNoBaseline(course) : 'no-reference';
    const status = point.kind === 'follow_up' ? statusWithout('not-measurable', missing) : null;
    return { ...point, expected: null, gain: null, share: null, status };
  }
  const gain = adjustedGain(start, point, sex, yardstick, question.level);
  const measurable = gainAtEnd !== null && isMeasurable(gainAtEnd);
  return {
    ...point,
    expected: expectedAt(start, point, course, gain, question, yardstick),
    gain: point === start ? null : gain,
    share:
      measurable && end !== undefined && point.kind === 'follow_up'
        ? retainedShare({ start, end, now: point }, sex, yardstick, question.level)
        : null,
    status: point.kind === 'follow_up' ? visitStatus(point, course, gainAtEnd, question, yardstick) : null,
  };
}

/** The value this child would be expected to show without treatment, with the reach of both uncertainties. */
function expectedAt(
  start: CoursePoint,
  point: CoursePoint,
  course: Course,
  gain: AdjustedGain,
  question: OutcomeQuestion,
  { reference }: Yardstick,
): VisitOutcome['expected'] {
  const { sex } = course.history.patient;
  const value =
    start.value +
    expectedSize(reference, sex, point.growthAge) -
    expectedSize(reference, sex, start.growthAge);
  const reach =
    point === start ? 0 : twoSidedNormal(question.level) * Math.hypot(gain.measurementSd, gain.growthSd);
  return { value, limits: { lower: value - reach, upper: value + reach } };
}

function visitStatus(
  point: CoursePoint,
  course: Course,
  gainAtEnd: AdjustedGain | null,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): Status {
  if (course.treatedAgainAt !== null && (point.years ?? 0) > course.treatedAgainAt) {
    return statusWithout('treated-again', 'treated-again');
  }
  const contrast = marginContrast(point, course, question);
  if (contrast === null) return statusWithout('not-measurable', whyNoBaseline(course));
  if (gainAtEnd === null) return statusWithout('not-measurable', 'no-reference');
  const reason = whyNoThreshold(gainAtEnd, question);
  if (reason !== null) return statusWithout('not-measurable', reason);
  return judgeMargin(marginEstimate(contrast, course, question, yardstick), question.level);
}

/** A gain too small to be told from error, or below the floor from the beginning, cannot be kept or lost. */
function whyNoThreshold(
  gain: AdjustedGain,
  { threshold }: OutcomeQuestion,
): 'gain-not-measurable' | 'gain-below-floor' | null {
  if (threshold.kind === 'floor') return gain.estimate >= threshold.amount ? null : 'gain-below-floor';
  return isMeasurable(gain) ? null : 'gain-not-measurable';
}

/** Why there is no start or no end value to reckon the gain of treatment from. */
function whyNoBaseline(course: Course): 'no-baseline' | 'film-factor-unknown' {
  const { start, end } = course;
  const unsized =
    (start === undefined && isUnsized(course, 'start')) ||
    (end === undefined && isUnsized(course, 'end_of_active'));
  return unsized ? 'film-factor-unknown' : 'no-baseline';
}

function marginContrast(
  point: CoursePoint,
  { start, end }: Course,
  { threshold }: OutcomeQuestion,
): Contrast | null {
  if (start === undefined || end === undefined) return null;
  return threshold.kind === 'share'
    ? shareContrast(start, end, point, threshold.share)
    : gainContrast(start, point);
}

function marginEstimate(
  contrast: Contrast,
  course: Course,
  { threshold }: OutcomeQuestion,
  yardstick: Yardstick,
) {
  const estimate = estimateContrast(contrast, course.history.patient.sex, yardstick);
  const floor = threshold.kind === 'floor' ? threshold.amount : 0;
  return { ...estimate, estimate: estimate.estimate - floor };
}

function whyLeftOut(
  course: Course,
  gain: AdjustedGain | null,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): LeftOutReason | null {
  if (course.start === undefined)
    return isUnsized(course, 'start') ? 'film-factor-unknown' : 'no-start-value';
  if (course.end === undefined)
    return isUnsized(course, 'end_of_active') ? 'film-factor-unknown' : 'no-end-value';
  if (gain === null) return 'no-reference';
  const threshold = whyNoThreshold(gain, question);
  if (threshold !== null) return threshold;
  if (course.followUp.length === 0)
    return isUnsized(course, 'follow_up') ? 'film-factor-unknown' : 'no-follow-up';
  return usableFollowUp(course, yardstick).length === 0 ? 'no-reference' : null;
}

function timesToLoss(
  course: Course,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): Record<LossRule, CensoredInterval> {
  const visits = usableFollowUp(course, yardstick).flatMap((point): MarginVisit[] => {
    const contrast = marginContrast(point, course, question);
    if (contrast === null || point.years === null) return [];
    return [marginVisit(point.years, marginEstimate(contrast, course, question, yardstick))];
  });
  const under = (rule: LossRule): CensoredInterval =>
    lossInterval(visits, rule, normalQuantile(question.level));
  return {
    'any-visit': under('any-visit'),
    'beyond-error': under('beyond-error'),
    confirmed: under('confirmed'),
  };
}

function marginVisit(years: number, { estimate, measurementVariance }: Margin): MarginVisit {
  return { years, margin: estimate, measurementSd: Math.sqrt(measurementVariance) };
}

function latestStatus(
  course: Course,
  visits: readonly VisitOutcome[],
  gain: AdjustedGain | null,
  yardstick: Yardstick,
): Status {
  if (course.treatedAgainAt !== null) return statusWithout('treated-again', 'treated-again');
  if (course.start === undefined || course.end === undefined)
    return statusWithout('not-measurable', whyNoBaseline(course));
  if (gain === null) return statusWithout('not-measurable', 'no-reference');
  const followUp = visits.filter(({ kind, years }) => kind === 'follow_up' && (years ?? 0) > 0);
  const usable = followUp.filter(
    ({ growthAge }) =>
      referenceCovers(yardstick.reference, course.history.patient.sex, growthAge) !== 'outside',
  );
  const latest = usable[usable.length - 1] ?? followUp[followUp.length - 1];
  if (latest === undefined && isUnsized(course, 'follow_up'))
    return statusWithout('not-measurable', 'film-factor-unknown');
  return latest?.status ?? statusWithout('no-follow-up', null);
}

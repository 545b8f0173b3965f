import { BY_AGE, describeReference, referenceCovers, type ImportedTable } from '../growth';
import { clockShift } from './clock-shift';
import { ageAtVisit, type PatientHistory, type Study } from '../records';
import { groupGain, type Verdict, type Yardstick } from '../retention';
import type { LeftOutReason, OutcomeAnswer, PatientOutcome } from './answer';
import { aboveThresholdYears, changesPerYear, retainedYears } from './by-year';
import { absenceAnswer } from './absence';
import { answerRows } from './answer-rows';
import { competingAnswer } from './competing-answer';
import { drawnLosses } from './drawn-losses';
import { askedAbout } from './eligible';
import { followUpFlow } from './flow';
import { gaveWay } from './gave-way';
import { gainRows } from './gain-rows';
import { patientContrasts, patientOutcome } from './patient-outcome';
import { patientWorth } from './patient-worth';
import { prepareQuestion, type PreparedQuestion } from './prepared-question';
import type { OutcomeQuestion, OutcomeQuestionInput } from './question';
import { separateGain, separationAnswer } from './separate-gain';
import { survivalAnswer } from './survival-answer';
import { survivalGroups } from './survival-groups';
import { warningsOf } from './warnings';

/** How long work tells how far it is, and asks whether to stop. */
export interface AnswerHooks {
  /** `fraction` from 0 to 1, `step` in words a user can read. */
  readonly progress?: (fraction: number, step: string) => void;
  readonly shouldStop?: () => boolean;
}

/** The asked-for stop, so that callers can tell it from a failure. */
export class AnswerStopped extends Error {
  constructor() {
    super('the computation was stopped');
    this.name = 'AnswerStopped';
  }
}

/**
 * Answers whether the gain of a study's treated patients stays. The same study and question give the same
 * numbers to the last digit: the only random part, the resampling, is seeded by the question.
 *
 * @param tables growth tables that the clinic imported
 * @throws ZodError for a question that does not fit its schema; RangeError for a measure that is not in the
 *   catalogue; AnswerStopped when the hooks ask to stop
 */
export function answerOutcome(
  study: Study,
  input: OutcomeQuestionInput,
  hooks: AnswerHooks = {},
  tables: readonly ImportedTable[] = [],
): OutcomeAnswer {
  const report = stepReporter(hooks);
  report(0, 'Reading method error and expected growth');
  return answerPrepared(prepareQuestion(study, input, tables), hooks);
}

/** The same from a question that was prepared already; the study's method error and growth are not read again. */
export function answerPrepared(prepared: PreparedQuestion, hooks: AnswerHooks = {}): OutcomeAnswer {
  const { study, question, measure, methodError, reference, yardstick } = prepared;
  const report = stepReporter(hooks);
  report(0.2, 'Judging each patient');
  const treated = askedAbout(study, question);
  const consenting = treated.filter(({ patient }) => patient.consentFollowUp);
  const patients = consenting.map((history) => patientOutcome(history, question, yardstick));
  const contrasts = consenting.flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  const baselines = new Set(contrasts.map(({ code }) => code));

  report(0.3, 'Telling lasting from earlier growth');
  const separated = separateGain(gainRows(contrasts, yardstick), yardstick, question.level);
  report(0.5, 'Estimating how long the gain stays');
  const shouldStop = (): boolean => hooks.shouldStop?.() ?? false;
  const drawn = drawnLosses(contrasts, prepared);
  const survival = survivalAnswer(patients, prepared, drawn, {
    progress: (fraction) => report(0.5 + 0.3 * fraction, 'Estimating how long the gain stays'),
    shouldStop,
  });
  const groups = survivalGroups(patients, question, drawn, {
    progress: (fraction) => report(0.8 + 0.12 * fraction, 'Comparing groups'),
    shouldStop,
  });
  if (survival === 'stopped' || groups === 'stopped') throw new AnswerStopped();
  report(0.92, 'Splitting what gave way, and bounding what is missing');

  const parts = gaveWay(
    consenting,
    study.filter(({ patient }) => patient.group === 'untreated'),
    question.level,
  );
  const answer: Omit<OutcomeAnswer, 'warnings'> = {
    question,
    asOf: question.asOf,
    measure,
    methodError,
    reference: describeReference(reference),
    films: prepared.films,
    treated: treated.length,
    untreated: study.filter(({ patient }) => patient.group === 'untreated').length,
    gain: groupGain(
      contrasts.map(({ sex, first }) => ({ sex, contrast: first })),
      yardstick,
      question.level,
    ),
    retained: retainedYears(contrasts, yardstick, question),
    changes: changesPerYear(contrasts, yardstick, question.level),
    above: aboveThresholdYears(contrasts, yardstick, question.level),
    survival,
    groups,
    competing: competingAnswer(patients, question, drawn),
    separation: separationAnswer(separated, yardstick),
    gains: separated.rows.map(({ code, years, age, startAge, gain, velocity }) => ({
      code,
      years,
      age,
      startAge,
      gain,
      velocity,
    })),
    worth: patientWorth(treated, separated, question, yardstick),
    gaveWay: parts,
    statusCounts: countVerdicts(patients),
    flow: followUpFlow(
      treated,
      question.measure,
      question.asOf,
      (history, index) =>
        baselines.has(history.patient.code) && isCovered(history, index, question, yardstick),
    ),
    absence: absenceAnswer(consenting, patients, contrasts, prepared, survival),
    leftOut: leftOutByReason(treated, patients),
    patients,
    rows: answerRows(consenting, parts.year, prepared),
  };
  report(1, 'Done');
  const notPlaced = consenting
    .filter((history) => clockShift(history, question.growthClock, reference) === null)
    .map(({ patient }) => patient.code);
  return { ...answer, warnings: warningsOf(answer, patients, reference, notPlaced) };
}

function stepReporter(hooks: AnswerHooks): (fraction: number, step: string) => void {
  return (fraction, step) => {
    if (hooks.shouldStop?.() === true) throw new AnswerStopped();
    hooks.progress?.(fraction, step);
  };
}

function countVerdicts(patients: readonly PatientOutcome[]): Record<Verdict, number> {
  const counts: Record<Verdict, number> = {
    held: 0,
    lost: 0,
    'cannot-tell': 0,
    'not-measurable': 0,
    'no-follow-up': 0,
    'treated-again': 0,
  };
  for (const { status } of patients) counts[status.verdict]++;
  return counts;
}

/** Whether the reference covers the age at a visit. */
function isCovered(
  history: PatientHistory,
  visitIndex: number,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): boolean {
  const visit = history.visits[visitIndex];
  const age = visit === undefined ? null : ageAtVisit(history.patient, visit);
  const shift = clockShift(history, question.growthClock, yardstick.reference) ?? BY_AGE;
  return (
    age !== null && referenceCovers(yardstick.reference, history.patient.sex, age + shift.years) !== 'outside'
  );
}

function leftOutByReason(
  treated: readonly PatientHistory[],
  patients: readonly PatientOutcome[],
): OutcomeAnswer['leftOut'] {
  const codes = new Map<LeftOutReason, string[]>();
  const note = (reason: LeftOutReason, code: string): void => {
    const known = codes.get(reason);
    if (known === undefined) codes.set(reason, [code]);
    else known.push(code);
  };
  for (const { patient } of treated) if (!patient.consentFollowUp) note('no-consent', patient.code);
  for (const { code, leftOut } of patients) if (leftOut !== null) note(leftOut, code);
  return [...codes].map(([reason, list]) => ({ reason, codes: list }));
}

import { isRefusal } from '../numeric';
import type { PatientHistory } from '../records';
import { groupShare, type Yardstick } from '../retention';
import { numberAtRisk, type CensoredInterval, type LossRule } from '../survival';
import { AnswerStopped } from './answer-outcome';
import { seenInYear } from './by-year';
import { ENOUGH_TO_COMPARE, type ComparedResults } from './compared-answer';
import { gainRows } from './gain-rows';
import { lastingGain } from './lasting-gain';
import { readClock } from './separate-gain';
import {
  patientContrasts,
  patientLosses,
  type PatientContrasts,
  type PatientLosses,
} from './patient-outcome';
import type { OutcomeQuestion } from './question';
import { rowOptions, survivalAtYears, type CurveOptions, type SurvivalHooks } from './survival-years';

/** Patients as one way of answering reads them: what group estimates and survival curves are made of. */
export interface ReadPatients {
  readonly losses: readonly PatientLosses[];
  /** Of those whose gain of treatment can be computed. */
  readonly contrasts: readonly PatientContrasts[];
}

/** The years that are compared with each other. */
export interface ComparedYears {
  /** The year whose retained share and survival are compared; null where fewer than ten were. */
  readonly retainedYear: number | null;
  readonly survivalYear: number | null;
}

const YEARS = [5, 4, 3, 2, 1];
const READ_YEARS = [1, 2, 3, 5];

/** Reads all patients by one yardstick. */
export function readPatients(
  histories: readonly PatientHistory[],
  question: OutcomeQuestion,
  yardstick: Yardstick,
): ReadPatients {
  return {
    losses: histories.map((history) => patientLosses(history, question, yardstick)),
    contrasts: histories.flatMap((history) => patientContrasts(history, question, yardstick) ?? []),
  };
}

/** The latest of the first five years that has ten patients seen, and the latest with ten at risk. */
export function comparedYears({ losses, contrasts }: ReadPatients, rule: LossRule): ComparedYears {
  const times = timesUnder(losses, rule);
  return {
    retainedYear: YEARS.find((year) => seenInYear(contrasts, year).length >= ENOUGH_TO_COMPARE) ?? null,
    survivalYear: YEARS.find((year) => numberAtRisk(times, year) >= ENOUGH_TO_COMPARE) ?? null,
  };
}

/** Loss intervals of those in the risk set. */
export function timesUnder(losses: readonly PatientLosses[], rule: LossRule): CensoredInterval[] {
  return losses.flatMap(({ lossByRule }) => (lossByRule === null ? [] : [lossByRule[rule]]));
}

/** The results that hang on the gains alone. */
export type GainResults = Pick<
  ComparedResults,
  'patients' | 'retained' | 'lasting' | 'share' | 'diagnosis' | 'lastingRefused'
>;

/**
 * What hangs on the gains alone: neither loss rule nor threshold nor method error moves it.
 *
 * @param clock the growth clock of these gains, where it was fitted already
 */
export function gainResults(
  contrasts: readonly PatientContrasts[],
  { retainedYear }: ComparedYears,
  yardstick: Yardstick,
  level: number,
  clock = readClock(gainRows(contrasts, yardstick), yardstick, level),
): GainResults {
  const found = isRefusal(clock) ? clock : lastingGain(clock);
  return {
    patients: contrasts.length,
    retained: retainedYear === null ? null : retainedAt(contrasts, retainedYear, yardstick, level),
    ...(isRefusal(found)
      ? { lasting: null, share: null, diagnosis: null, lastingRefused: found.message }
      : { lasting: found.lasting, share: found.share, diagnosis: found.diagnosis, lastingRefused: null }),
  };
}

type Survivals = Pick<ComparedResults, 'survival' | 'atYears'>;

/** What a curve of the comparison is made with. */
export interface ComparedCurve extends CurveOptions {
  /** The answer as it was asked, which has all its resamples; other rows of large studies have fewer. */
  readonly asAsked: boolean;
  readonly hooks: SurvivalHooks;
}

/**
 * What hangs on the loss intervals, with limits made as those of the answer itself.
 *
 * @throws AnswerStopped when the hooks ask to stop
 */
export function survivalResults(
  times: readonly CensoredInterval[],
  { survivalYear }: ComparedYears,
  { asAsked, hooks, ...options }: ComparedCurve,
): Survivals {
  if (times.length === 0) return { survival: null, atYears: [] };
  const years = [...READ_YEARS, ...(survivalYear === null ? [] : [survivalYear])];
  const read = survivalAtYears(times, years, asAsked ? options : rowOptions(options, times.length), hooks);
  if (read === 'stopped') throw new AnswerStopped();
  const survival = survivalYear === null ? undefined : read[READ_YEARS.length];
  return {
    survival: survival === undefined || survival.atRisk === 0 ? null : survival,
    atYears: read.slice(0, READ_YEARS.length),
  };
}

function retainedAt(
  contrasts: readonly PatientContrasts[],
  year: number,
  yardstick: Yardstick,
  level: number,
): ComparedResults['retained'] {
  const pairs = seenInYear(contrasts, year).map(({ sex, first, visit }) => ({
    sex,
    first,
    later: visit.gain,
  }));
  const { n, share } = groupShare(pairs, yardstick, level);
  return share === null ? null : { n, ...share };
}

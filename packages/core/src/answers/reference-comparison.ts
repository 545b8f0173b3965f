import { growthReference, peakAge, tableNames, type GrowthReference } from '../growth';
import type { PatientHistory } from '../records';
import { groupGain } from '../retention';
import type { LeftOutReason } from './answer';
import { seenInYear } from './by-year';
import { clockShift } from './clock-shift';
import {
  gainResults,
  readPatients,
  survivalResults,
  timesUnder,
  type ComparedCurve,
  type ComparedYears,
  type GainResults,
  type ReadPatients,
} from './compared-results';
import { drawnLosses } from './drawn-losses';
import type { PreparedQuestion } from './prepared-question';
import type { GrowthClockChoice } from './question';
import type {
  ComparedReference,
  ReferenceComparison,
  ReferenceResults,
  ReferenceRow,
} from './reference-comparison-answer';

/** A reference that may be usable, with how it is to be read. */
interface Candidate {
  readonly kind: ComparedReference;
  readonly table: string | null;
  readonly clock: GrowthClockChoice;
  readonly reference: GrowthReference;
  readonly inForce: boolean;
}

/** What the comparison is made from: the patients asked about, as the reference in force reads them. */
export interface ComparisonBase {
  readonly histories: readonly PatientHistory[];
  readonly read: ReadPatients;
  readonly years: ComparedYears;
  readonly gains: GainResults;
}

/**
 * The main results under every growth reference of the measure: the study's own untreated series by age and by stage of
 * maturity, every imported table, the built-in table. Everything else stays as asked; method error is not read again,
 * and a curve that is fitted already is not fitted again.
 *
 * @param step called before each row with the part done, from 0 to 1, and what is being done; throws to stop
 */
export function referenceComparison(
  prepared: PreparedQuestion,
  base: ComparisonBase,
  step: (fraction: number, words: string) => void,
): ReferenceComparison {
  if (prepared.reference.kind === 'not-needed') return { needed: false, rows: [] };
  const candidates = candidatesOf(prepared);
  const rows = candidates.map((candidate, i) => {
    const words = `Answering with growth by the ${KIND_WORDS[candidate.kind].toLowerCase()}`;
    step(i / candidates.length, words);
    return rowOf(prepared, base, candidate, (fraction) => step((i + fraction) / candidates.length, words));
  });
  return { needed: true, rows };
}

function candidatesOf({
  study,
  measure,
  tables,
  question,
  reference: inForce,
}: PreparedQuestion): Candidate[] {
  const asked = question.growthClock;
  const other: GrowthClockChoice = asked === 'age' ? 'maturity' : 'age';
  const named = inForce.kind === 'imported-table' ? inForce.name : null;
  const own =
    inForce.kind === 'untreated-series' ? inForce : growthReference(study, measure, 'untreated-series');
  const all: Omit<Candidate, 'clock' | 'inForce'>[] = [
    { kind: 'untreated-series', table: null, reference: own },
    ...tableNames(tables, measure.code).map((table) => ({
      kind: 'imported-table' as const,
      table,
      reference:
        table === named
          ? inForce
          : growthReference(study, measure, 'imported-table', { tables, name: table }),
    })),
    { kind: 'built-in-table', table: null, reference: growthReference(study, measure, 'built-in-table') },
  ];
  const rows = all.flatMap((one): Candidate[] => {
    const isAsked = one.kind === inForce.kind && one.table === named;
    // A clock of its own for the series and for what is in force; the others by the clock that was asked for.
    const both = one.reference.kind !== 'none' && (isAsked || one.kind === 'untreated-series');
    return (both ? [asked, other] : [asked]).map((clock) => ({
      ...one,
      clock,
      inForce: isAsked && clock === asked,
    }));
  });
  return [...rows.filter((row) => row.inForce), ...rows.filter((row) => !row.inForce)];
}

const KIND_WORDS: Readonly<Record<ComparedReference, string>> = {
  'untreated-series': 'Untreated series',
  'imported-table': 'Imported table',
  'built-in-table': 'Built-in table',
};

/** How growth is read by a clock, as it is written after the name of a reference. */
const CLOCK_WORDS: Readonly<Record<GrowthClockChoice, string>> = {
  age: 'by age',
  maturity: 'by stage of maturity',
};

function nameOf({ kind, table }: Candidate): string {
  return `${KIND_WORDS[kind]}${table === null ? '' : ` ${table}`}`;
}

function rowOf(
  prepared: PreparedQuestion,
  base: ComparisonBase,
  candidate: Candidate,
  progress: (fraction: number) => void,
): ReferenceRow {
  const { kind, table, clock, reference, inForce } = candidate;
  const name = nameOf(candidate);
  const row = { kind, table, clock, name, label: `${name}, ${CLOCK_WORDS[clock]}`, inForce };
  const why = whyNot(candidate, base.histories);
  if (why !== null) return { ...row, results: null, why };
  const question = { ...prepared.question, growthClock: clock };
  const yardstick = { ...prepared.yardstick, reference };
  const read = inForce ? base.read : readPatients(base.histories, question, yardstick);
  if (read.contrasts.length === 0) {
    return {
      ...row,
      results: null,
      why: 'It covers the ages of no patient from the start to the end of treatment.',
    };
  }
  const { level } = question;
  const gains = inForce ? base.gains : gainResults(read.contrasts, base.years, yardstick, level);
  const doubt = { question, yardstick, methodError: prepared.methodError };
  const curve: ComparedCurve = {
    ...question,
    drawn: drawnLosses(read.contrasts, doubt),
    asAsked: inForce,
    hooks: { progress, shouldStop: () => false },
  };
  return { ...row, results: { ...gains, ...otherResults(base, read, doubt, curve) }, why: null };
}

/** Why a reference cannot be read at all, in a sentence; null where it can. */
function whyNot({ reference, clock }: Candidate, histories: readonly PatientHistory[]): string | null {
  if (reference.kind === 'none') return reference.reason;
  if (histories.length === 0) return 'Nobody is asked about.';
  if (clock === 'age') return null;
  if (peakAge(reference, 'female') === null && peakAge(reference, 'male') === null)
    return 'Its curve has no peak of growth within its ages, so no stage of maturity can be placed on it.';
  return histories.some((history) => clockShift(history, clock, reference) !== null)
    ? null
    : 'Of no patient a stage of maturity is known that can be placed on it.';
}

function otherResults(
  base: ComparisonBase,
  read: ReadPatients,
  { question, yardstick }: Pick<PreparedQuestion, 'question' | 'yardstick'>,
  curve: ComparedCurve,
): Omit<ReferenceResults, keyof GainResults> {
  const { level, rule, growthClock } = question;
  const times = timesUnder(read.losses, rule);
  return {
    gain: groupGain(
      read.contrasts.map(({ sex, first }) => ({ sex, contrast: first })),
      yardstick,
      level,
    ),
    followed: times.length,
    ...survivalResults(times, base.years, curve),
    dropsOut: dropsOut(base.read, read),
    comesIn: comesIn(base.read, read),
    notCovered: notCovered(base, read),
    notPlaced: base.histories
      .filter((history) => clockShift(history, growthClock, yardstick.reference) === null)
      .map(({ patient }) => patient.code),
  };
}

function inRiskSet({ losses }: ReadPatients): string[] {
  return losses.filter(({ leftOut }) => leftOut === null).map(({ code }) => code);
}

function notCovered(
  { read: inForce, years: { retainedYear } }: ComparisonBase,
  read: ReadPatients,
): string[] {
  if (retainedYear === null) return [];
  const here = new Set(seenInYear(read.contrasts, retainedYear).map(({ code }) => code));
  return seenInYear(inForce.contrasts, retainedYear)
    .filter(({ code }) => !here.has(code))
    .map(({ code }) => code);
}

function comesIn(base: ReadPatients, read: ReadPatients): string[] {
  const before = new Set(inRiskSet(base));
  return inRiskSet(read).filter((code) => !before.has(code));
}

function dropsOut(base: ReadPatients, read: ReadPatients): ReferenceResults['dropsOut'] {
  const before = new Set(inRiskSet(base));
  const codes = new Map<LeftOutReason, string[]>();
  for (const { code, leftOut } of read.losses) {
    if (leftOut === null || !before.has(code)) continue;
    const known = codes.get(leftOut);
    if (known === undefined) codes.set(leftOut, [code]);
    else known.push(code);
  }
  return [...codes].map(([reason, list]) => ({ reason, codes: list }));
}

import { findMeasure } from '@longhold/core/measures';
import { NOT_ASKED_WORDS, type ChosenQuestion, type UnreadPart } from './question-address';

/** What the open store has to choose from. */
export interface StoreChoices {
  /** Protocols of its treated patients. */
  readonly protocols: readonly string[];
  /** Imported growth tables. */
  readonly growthTables: readonly { readonly name: string; readonly measure: string }[];
}

/** A part of a question that the open store has nothing for. */
export interface UnknownPart extends UnreadPart {
  readonly name: 'table' | 'protocol';
}

/** Names of the imported tables of a measure, in the order in which the first is taken. */
export function tablesOf({ growthTables }: StoreChoices, measure: string): string[] {
  return growthTables
    .filter((table) => table.measure === measure)
    .map(({ name }) => name)
    .sort();
}

/**
 * The question with what the store does not have taken out of it: asked as it stands, it would be answered by no patient
 * or by no growth curve. The same object where nothing is to be taken out.
 *
 * @param choices null where no store is open: then nothing can be judged
 */
export function settleQuestion(
  question: ChosenQuestion,
  choices: StoreChoices | null,
): { readonly question: ChosenQuestion; readonly unknown: readonly UnknownPart[] } {
  if (choices === null) return { question, unknown: [] };
  const { table, measure, filter } = question;
  const { protocol } = filter;
  const unknown: UnknownPart[] = [];
  let settled = question;
  const names = tablesOf(choices, measure);
  if (table !== null && !names.includes(table)) {
    const instead = names.length === 0 ? 'none, since there is none of this measure' : NOT_ASKED_WORDS.table;
    unknown.push({ name: 'table', written: `table=${table}`, instead });
    settled = { ...settled, table: null };
  }
  if (protocol !== null && !choices.protocols.includes(protocol)) {
    unknown.push({ name: 'protocol', written: `protocol=${protocol}`, instead: NOT_ASKED_WORDS.protocol });
    settled = { ...settled, filter: { ...filter, protocol: null } };
  }
  return { question: settled, unknown };
}

/** The same question of another measure, without what belongs to the old one only: its table, its films' factor. */
export function askedOfMeasure(
  question: ChosenQuestion,
  measure: string,
  choices: StoreChoices | null,
): ChosenQuestion {
  const filmFactor = findMeasure(measure)?.enlarged === true ? question.filmFactor : null;
  return settleQuestion({ ...question, measure, filmFactor }, choices).question;
}

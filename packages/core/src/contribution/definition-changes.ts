import { definitionFacts, type DefinitionFact } from './definition-words';
import { sameContribution, type StudyDefinition } from './study-definition';

/** The end of the list, whatever changed: sending is more than bringing data up to date. */
export const AGREEING_SENTENCE =
  'With your confirmation your clinic agrees to this version of the study definition, and is in its pool.';

const OTHER_TABLE_SENTENCE =
  'The study definition has changed: the growth table has the same name and other numbers.';

/**
 * What a clinic is told of a definition that is another than the one it confirmed last, one sentence each: first whether
 * others may read its records, where that changed.
 *
 * @param before the one that it confirmed last
 * @returns none where both say the same; else what changed, what that means for its records, and what confirming means
 */
export function definitionChangesWords(before: StudyDefinition, after: StudyDefinition): string[] {
  const was = new Map(definitionFacts(inOneOrder(before)).map(({ name, value }) => [name, value]));
  const changed = definitionFacts(inOneOrder(after)).filter(({ name, value }) => was.get(name) !== value);
  const isShared = before.recordsShared !== after.recordsShared;
  const sentences = [
    ...(isShared ? changed.slice(-1) : []),
    ...(isShared ? changed.slice(0, -1) : changed),
  ].map((fact) => changedSentence(fact, was.get(fact.name) ?? ''));
  if (isOtherTable(before, after)) sentences.push(OTHER_TABLE_SENTENCE);
  if (sentences.length === 0) return [];
  const records = sameContribution(before, after)
    ? 'What leaves of each patient stays the same, so no record is sent again for that: only the sheet of your clinic.'
    : 'What leaves of each patient, or who may read it, changes, so all records are sent again.';
  return [...sentences, records, AGREEING_SENTENCE];
}

function changedSentence({ name, value }: DefinitionFact, was: string): string {
  return `The study definition has changed. ${name}: "${value}" in place of "${was}".`;
}

/** Lists whose order means nothing, in one order. */
function inOneOrder(definition: StudyDefinition): StudyDefinition {
  const { measures, protocols, years } = definition;
  return {
    ...definition,
    measures: [...measures].sort(),
    protocols: [...protocols].sort(),
    years: [...years].sort((a, b) => a - b),
  };
}

/** Two tables of one name that say different things. */
function isOtherTable(
  { reference: before }: StudyDefinition,
  { reference: after }: StudyDefinition,
): boolean {
  return (
    before.kind === 'growth-table' &&
    after.kind === 'growth-table' &&
    before.table.name === after.table.name &&
    before.table.measure === after.table.measure &&
    JSON.stringify(before) !== JSON.stringify(after)
  );
}

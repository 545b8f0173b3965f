import { GROUPING_WORDS } from '../answers/grouping';
import { levelText, numberText, patientsText, percentText } from '../answers/number-text';
import { RULE_WORDS } from '../answers/words';
import { sameContribution, type StudyDefinition } from './study-definition';

/** The end of the list, whatever changed: sending is more than bringing data up to date. */
export const AGREEING_SENTENCE =
  'With your confirmation your clinic agrees to this version of the study definition, and is in its pool.';

/**
 * What a clinic is told of a definition that is another than the one it confirmed last, one sentence each.
 *
 * @param before the one that it confirmed last
 * @returns none where both say the same; else what changed, what that means for its records, and what confirming means
 */
export function definitionChangesWords(before: StudyDefinition, after: StudyDefinition): string[] {
  const changed = PARTS.flatMap(({ name, say }) => {
    const [was, is] = [say(before), say(after)];
    return was === is ? [] : [`The study definition has changed: ${name} is now ${is}; it was ${was}.`];
  });
  if (isOtherTable(before, after)) changed.push(OTHER_TABLE_SENTENCE);
  if (changed.length === 0) return [];
  const records = sameContribution(before, after)
    ? 'What leaves of each patient stays the same, so no record is sent again for that: only the sheet of your clinic.'
    : 'What leaves of each patient, or who may read it, changes, so all records are sent again.';
  return [...changed, records, AGREEING_SENTENCE];
}

const OTHER_TABLE_SENTENCE =
  'The study definition has changed: the growth table has the same name and other numbers.';

interface Part {
  /** As it stands in a sentence, before "is". */
  readonly name: string;
  readonly say: (definition: StudyDefinition) => string;
}

const PARTS: readonly Part[] = [
  {
    name: 'who reads the records of your patients',
    say: ({ recordsShared }) =>
      recordsShared ? 'the service, the coordinator and the other clinics' : 'the service only',
  },
  { name: 'what is measured', say: ({ measures }) => listText([...measures].sort()) },
  {
    name: 'what counts as a gain that stays',
    say: ({ threshold }) =>
      threshold.kind === 'share'
        ? `at least ${percentText(threshold.share)} of it left`
        : `at least ${numberText(threshold.amount, 2)} left in the unit of the measure`,
  },
  { name: 'the rule of a loss', say: ({ rule }) => `"${RULE_WORDS[rule]}"` },
  { name: 'where expected growth comes from', say: referenceText },
  { name: 'what groups are made by', say: ({ groupBy }) => `"${GROUPING_WORDS[groupBy]}"` },
  { name: 'the list of protocols', say: ({ protocols }) => listText([...protocols].sort()) },
  { name: 'the list of years with results', say: ({ years }) => listText([...years].sort((a, b) => a - b)) },
  { name: 'the level of intervals', say: ({ level }) => levelText(level) },
  { name: 'the smallest number that is shown', say: ({ smallestCell }) => patientsText(smallestCell) },
  { name: 'the width of bands of age in months', say: ({ coarsening }) => String(coarsening.ageStepMonths) },
  { name: 'the step of days', say: ({ coarsening }) => String(coarsening.dayStep) },
  {
    name: 'the smallest group that leaves as it is',
    say: ({ coarsening }) => patientsText(coarsening.smallestGroup),
  },
  {
    name: 'what becomes of patients who are still too rare',
    say: ({ coarsening }) =>
      coarsening.smallGroups === 'keep' ? 'that they leave' : 'that they stay at home',
  },
];

function referenceText({ reference }: StudyDefinition): string {
  switch (reference.kind) {
    case 'own-untreated-series':
      return "each clinic's own untreated children";
    case 'built-in-table':
      return 'the built-in table';
    case 'growth-table':
      return `the table ${reference.table.name} (${reference.table.measure})`;
  }
}

/** Two tables of one name that say different things. */
function isOtherTable(before: StudyDefinition, after: StudyDefinition): boolean {
  return (
    referenceText(before) === referenceText(after) &&
    JSON.stringify(before.reference) !== JSON.stringify(after.reference)
  );
}

function listText(items: readonly (string | number)[]): string {
  return items.length === 0 ? 'empty' : items.join(', ');
}

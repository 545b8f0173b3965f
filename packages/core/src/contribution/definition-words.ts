import { GROUPING_WORDS, levelText, patientsText, percentText, RULE_WORDS } from '../answers';
import { findMeasure, measureTitle } from '../measures';
import type { StudyDefinition } from './study-definition';

/** Where expected growth comes from in a pool, as choices. */
export const POOLED_REFERENCE_WORDS: Readonly<Record<StudyDefinition['reference']['kind'], string>> = {
  'own-untreated-series': 'Each clinic’s own untreated children',
  'growth-table': 'One growth table, sent with the definition',
  'built-in-table': 'The built-in table',
};

/** What becomes of patients of whom too few are alike, as choices. */
export const SMALL_GROUP_WORDS: Readonly<Record<StudyDefinition['coarsening']['smallGroups'], string>> = {
  keep: 'They leave, and the clinic is told',
  'leave-out': 'They stay at home and are counted',
};

/** One part of a definition: what it is called, and what was agreed on. */
export interface DefinitionFact {
  readonly name: string;
  readonly value: string;
}

/** All that a definition says, in words: one name and value for each of its parts, measures first. */
export function definitionFacts(definition: StudyDefinition): DefinitionFact[] {
  const { threshold, reference, coarsening, protocols } = definition;
  return [
    {
      name: 'Measures',
      value: definition.measures
        .map((code) => findMeasure(code))
        .flatMap((measure) => (measure === undefined ? [] : [measureTitle(measure)]))
        .join('; '),
    },
    {
      name: 'The gain stays while there is left',
      value:
        threshold.kind === 'share'
          ? `At least ${percentText(threshold.share)} of it`
          : `At least ${threshold.amount} in the unit of the measure`,
    },
    { name: 'A loss is', value: RULE_WORDS[definition.rule] },
    {
      name: 'Expected growth from',
      value:
        reference.kind === 'growth-table'
          ? `The table ${reference.table.name} (${reference.table.measure})`
          : POOLED_REFERENCE_WORDS[reference.kind],
    },
    { name: 'Groups are', value: GROUPING_WORDS[definition.groupBy] },
    { name: 'Protocols by name', value: protocols.length === 0 ? 'None' : protocols.join(', ') },
    { name: 'Years', value: definition.years.join(', ') },
    { name: 'Level of intervals', value: levelText(definition.level) },
    { name: 'Smallest number shown', value: patientsText(definition.smallestCell) },
    {
      name: 'Before records leave',
      value: `Ages in bands of ${coarsening.ageStepMonths === 1 ? '1 month' : `${coarsening.ageStepMonths} months`}, days in steps of ${coarsening.dayStep}, made less precise where fewer than ${coarsening.smallestGroup} are alike`,
    },
    { name: 'Who is still too rare', value: SMALL_GROUP_WORDS[coarsening.smallGroups] },
    {
      name: 'Centres read each other’s records',
      value: definition.recordsShared ? 'Yes, pseudonymised, by the study agreement' : 'No',
    },
  ];
}

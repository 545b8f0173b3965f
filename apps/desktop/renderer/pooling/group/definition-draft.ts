import { sameContribution, studyDefinitionSchema, type StudyDefinition } from '@longhold/core/contribution';

/** A study definition as it stands in the form: numbers and lists as they were typed. */
export interface DefinitionDraft {
  readonly measures: readonly string[];
  readonly threshold: StudyDefinition['threshold'];
  readonly rule: StudyDefinition['rule'];
  readonly reference: StudyDefinition['reference'];
  readonly groupBy: StudyDefinition['groupBy'];
  readonly protocols: string;
  readonly years: string;
  readonly level: string;
  readonly smallestCell: string;
  readonly smallestGroup: string;
  readonly dayStep: string;
  readonly ageStepMonths: string;
  readonly smallGroups: StudyDefinition['coarsening']['smallGroups'];
  readonly recordsShared: boolean;
}

/** Fields of the form in which something typed can be wrong. */
export type TypedField =
  | 'measures'
  | 'protocols'
  | 'years'
  | 'level'
  | 'smallestCell'
  | 'smallestGroup'
  | 'dayStep'
  | 'ageStepMonths';

/** What a first definition begins with; every entry can be changed. */
export const FIRST_DRAFT: DefinitionDraft = {
  measures: ['Co-Gn'],
  threshold: { kind: 'share', share: 0.75 },
  rule: 'confirmed',
  reference: { kind: 'built-in-table' },
  groupBy: 'protocol',
  protocols: '',
  years: '1, 2, 3, 5',
  level: '95',
  smallestCell: '10',
  smallestGroup: '10',
  dayStep: '7',
  ageStepMonths: '3',
  smallGroups: 'keep',
  recordsShared: false,
};

/** A definition as it stands in the form. */
export function draftOf(definition: StudyDefinition): DefinitionDraft {
  const { measures, threshold, rule, reference, groupBy, protocols, years, coarsening } = definition;
  return {
    measures,
    threshold,
    rule,
    reference,
    groupBy,
    protocols: protocols.join(', '),
    years: years.join(', '),
    level: String(Number((definition.level * 100).toFixed(4))),
    smallestCell: String(definition.smallestCell),
    smallestGroup: String(coarsening.smallestGroup),
    dayStep: String(coarsening.dayStep),
    ageStepMonths: String(coarsening.ageStepMonths),
    smallGroups: coarsening.smallGroups,
    recordsShared: definition.recordsShared,
  };
}

/** A form read: the definition, or what is wrong in which field. */
export type ReadDraft =
  | { readonly definition: StudyDefinition; readonly faults: Readonly<Partial<Record<TypedField, string>>> }
  | { readonly definition: null; readonly faults: Readonly<Partial<Record<TypedField, string>>> };

const FAULT_WORDS: Readonly<Record<TypedField, string>> = {
  measures: 'At least one measure, at most 30.',
  protocols: 'Short codes with commas between them, at most 50: letters, digits, spaces, dots, dashes.',
  years: 'Whole years from 1 to 20 with commas between them, such as 1, 2, 5.',
  level: 'A number above 50 and below 100.',
  smallestCell: 'A whole number from 1 to 100.',
  smallestGroup: 'A whole number from 1 to 100.',
  dayStep: 'A whole number of days from 1 to 91.',
  ageStepMonths: 'A whole number of months from 1 to 24.',
};

/** Reads the form by the schema that every clinic and the service hold a definition to. */
export function readDraft(draft: DefinitionDraft): ReadDraft {
  const { measures, threshold, rule, reference, groupBy, recordsShared, smallGroups } = draft;
  const parsed = studyDefinitionSchema.safeParse({
    measures: [...measures],
    threshold,
    rule,
    reference,
    groupBy,
    protocols: entriesOf(draft.protocols),
    years: [...new Set(entriesOf(draft.years).map(typedNumber))].sort((a, b) => a - b),
    level: typedNumber(draft.level) / 100,
    smallestCell: typedNumber(draft.smallestCell),
    coarsening: {
      smallestGroup: typedNumber(draft.smallestGroup),
      dayStep: typedNumber(draft.dayStep),
      ageStepMonths: typedNumber(draft.ageStepMonths),
      smallGroups,
    },
    recordsShared,
  });
  if (parsed.success) return { definition: parsed.data, faults: {} };
  const faults: Partial<Record<TypedField, string>> = {};
  for (const { path } of parsed.error.issues) {
    const field = typedFields.find((name) => path.includes(name));
    if (field !== undefined) faults[field] = FAULT_WORDS[field];
  }
  return { definition: null, faults };
}

const typedFields: readonly TypedField[] = [
  'measures',
  'protocols',
  'years',
  'level',
  'smallestCell',
  'smallestGroup',
  'dayStep',
  'ageStepMonths',
];

function entriesOf(text: string): string[] {
  return [...new Set(text.split(',').map((entry) => entry.trim()))].filter((entry) => entry !== '');
}

/** A decimal comma is understood where a list's commas cannot be meant; anything else that is no number is NaN. */
function typedNumber(text: string): number {
  const trimmed = text.trim().replace(',', '.');
  return /^\d+(\.\d+)?$/.test(trimmed) ? Number(trimmed) : NaN;
}

/** What publishing a definition causes at every clinic, one sentence each. */
export function consequences(before: StudyDefinition | null, after: StudyDefinition): string[] {
  if (before === null)
    return [
      'Every clinic is shown what it would send under this definition, and sends nothing before it confirms.',
    ];
  const same = sameContribution(before, after);
  const sentences = same
    ? [
        'What leaves a clinic stays the same, so no record is sent again. Every clinic is shown what changed and confirms it with its sheet; then its records count under the new version.',
        'The pooled answer is computed anew.',
      ]
    : [
        'What leaves a clinic changes. Every clinic makes its records anew, is shown them, and confirms before they are sent.',
        'A clinic joins the pooled answer of the new version when it has sent under it; until then the answer may wait.',
      ];
  if (
    after.smallestCell < before.smallestCell ||
    after.coarsening.smallestGroup < before.coarsening.smallestGroup
  )
    sentences.push(
      'Smaller numbers are shown, or smaller groups leave: the risk that someone is recognised grows. The study agreement and the ethics approval must cover that.',
    );
  if (after.recordsShared && !before.recordsShared)
    sentences.push(
      'Centres can then read each other’s pseudonymised records, each once its clinic has confirmed and sent it under this version. The study agreement must say so.',
    );
  return sentences;
}

import { levelText, MATURITY_WORDS, RULE_WORDS, thresholdText, type OutcomeSummary } from '../answers';
import { POOLED_REFERENCE_WORDS } from '../contribution/definition-words';
import type { StudyDefinition } from '../contribution/study-definition';

/** One respect in which a clinic's own question is another one than the study's. */
export interface QuestionDifference {
  readonly part:
    'threshold' | 'rule' | 'reference' | 'clock' | 'film-factor' | 'patients' | 'error' | 'level';
  /** What it is called. */
  readonly name: string;
  /** As the clinic asked, and as the study group agreed. */
  readonly here: string;
  readonly pool: string;
}

type Asked = Pick<OutcomeSummary, 'question' | 'measure' | 'reference' | 'films'>;

/**
 * In what a clinic's own question differs from what the study definition asks of the same measure; empty where both are
 * the same question. Groups are not in it: they decide only how curves are told apart.
 */
export function questionDifferences(asked: Asked, definition: StudyDefinition): QuestionDifference[] {
  const { question, measure, films } = asked;
  const { filter } = question;
  const patients = patientsText(filter);
  const candidates: (QuestionDifference | null)[] = [
    unlike('threshold', 'The gain stays while there is', [
      thresholdText(question, measure),
      thresholdText(definition, measure),
    ]),
    unlike('rule', 'Loss rule', [RULE_WORDS[question.rule], RULE_WORDS[definition.rule]]),
    referenceDifference(asked, definition),
    question.growthClock === 'maturity' && asked.reference.kind !== 'not-needed'
      ? {
          part: 'clock',
          name: 'Expected growth is read by',
          here: 'stage of maturity at the start',
          pool: 'age',
        }
      : null,
    films.assumed > 0
      ? {
          part: 'film-factor',
          name: 'Films without a factor of their own',
          here: `taken to enlarge lengths so that a factor of ${question.filmFactor ?? 1} gives natural size`,
          pool: 'not used',
        }
      : null,
    patients === ''
      ? null
      : { part: 'patients', name: 'Patients', here: patients, pool: 'all treated patients' },
    question.errorFactor === 1
      ? null
      : {
          part: 'error',
          name: 'Method error',
          here: `multiplied by ${question.errorFactor}`,
          pool: 'as each clinic found it',
        },
    unlike('level', 'Level of intervals', [levelText(question.level), levelText(definition.level)]),
  ];
  return candidates.flatMap((one) => one ?? []);
}

function unlike(
  part: QuestionDifference['part'],
  name: string,
  [here, pool]: readonly [string, string],
): QuestionDifference | null {
  return here === pool ? null : { part, name, here, pool };
}

const SAME_REFERENCE = {
  'own-untreated-series': 'untreated-series',
  'growth-table': 'imported-table',
  'built-in-table': 'built-in-table',
} as const satisfies Record<StudyDefinition['reference']['kind'], Asked['reference']['kind']>;

/** Two tables are taken for the same where name and source are: what else stands in them is not compared. */
function referenceDifference(
  { reference }: Asked,
  { reference: agreed }: StudyDefinition,
): QuestionDifference | null {
  if (reference.kind === 'not-needed') return null;
  const isSameTable =
    reference.kind !== 'imported-table' ||
    agreed.kind !== 'growth-table' ||
    (reference.name === agreed.table.name && reference.source === agreed.table.source);
  if (reference.kind === SAME_REFERENCE[agreed.kind] && isSameTable) return null;
  return {
    part: 'reference',
    name: 'Expected growth from',
    here: hereText(reference),
    pool:
      agreed.kind === 'growth-table'
        ? `the table ${agreed.table.name} that comes with the definition`
        : inSentence(POOLED_REFERENCE_WORDS[agreed.kind]),
  };
}

function hereText(reference: Exclude<Asked['reference'], { kind: 'not-needed' }>): string {
  switch (reference.kind) {
    case 'none':
      return 'nowhere: it is not known';
    case 'untreated-series':
      return 'this clinic’s own untreated children';
    case 'imported-table':
      return `the imported table ${reference.name}`;
    case 'built-in-table':
      return 'the built-in table';
  }
}

function inSentence(words: string): string {
  return words.charAt(0).toLowerCase() + words.slice(1);
}

function patientsText({ protocol, sex, expansion, maturity }: Asked['question']['filter']): string {
  return [
    protocol === null ? [] : [`protocol ${protocol}`],
    sex === null ? [] : [`${sex} only`],
    expansion === null ? [] : [expansion ? 'upper jaw widened' : 'upper jaw not widened'],
    maturity === null ? [] : [inSentence(MATURITY_WORDS[maturity])],
  ]
    .flat()
    .join(', ');
}

import { GROUPING_WORDS } from '../answers/grouping';
import { countText, patientsText } from '../answers/number-text';
import { PSEUDONYMISED_SENTENCE } from '../contribution/contribution-words';
import type { StudyDefinition } from '../contribution/study-definition';
import type { CentreStatistics } from './centre-statistics';
import { statisticsRisk, type MeasureRisk } from './statistics-risk';

/** Statistics in plain words, for the person who decides whether to send them. Every entry is one sentence. */
export interface StatisticsWords {
  /** What leaves, and of how many. */
  readonly leaves: readonly string[];
  readonly staysHome: readonly string[];
  /** What someone could still find out of single patients. */
  readonly risk: readonly string[];
  readonly law: string;
}

/** What statistics are in law, said wherever they are shown. */
const NOT_ANONYMOUS_SENTENCE =
  'Statistics are not anonymous either: what they hold of single patients is personal data. ' +
  PSEUDONYMISED_SENTENCE;

/** Tells a clinic what its statistics are before they leave. */
export function statisticsWords(
  statistics: CentreStatistics,
  { groupBy, smallestCell }: StudyDefinition,
): StatisticsWords {
  const { treated, untreated, measures } = statistics;
  const names = measures.map(({ measure }) => measure).join(', ');
  const risk = statisticsRisk(statistics, smallestCell);
  return {
    leaves: [
      `Sums and counts of ${countText(treated)} treated and ${countText(untreated)} untreated patients leave, for ` +
        `${names}. No record of any patient does.`,
      'Of each year of follow-up: how many patients could have been seen, were seen and measured, why the others were ' +
        'not, and the sums and squares of the gains at the end of active treatment and in that year.',
      `How many patients lost the gain between which days, by ${GROUPING_WORDS[groupBy].toLowerCase()}, ` +
        'and on which day follow-up ended in which way. Days count from the end of active treatment.',
      'Of each treated patient, with nothing that names the patient and sorted by size: how many gains were measured, and ' +
        'sums of squares and products of them with the growth expected at that age.',
      'Of your clinic as a whole: the method error of each measure, how well expected growth is known, and how many ' +
        'patients are not in it and why, small numbers withheld.',
    ],
    staysHome: [
      'Every record stays at home: pseudonyms, ages, sex, protocols, maturity, visits, and the measured values themselves, ' +
        'but for the groups that losses are counted by.',
      'Names, your patient codes, birth dates, every calendar date, examiners, film numbers, film factors and all images ' +
        'stay at home.',
    ],
    risk: [
      'The sums of the gains are of one patient each, because lasting and passing gain cannot be told apart without them.',
      ...risk.measures.flatMap((measure) => riskWords(measure, smallestCell)),
      ...(treated + untreated === 0
        ? []
        : [
            'In a small clinic a sum or count can speak of one person to somebody who knows that person. When patients come or ' +
              'go, the difference between two sendings is about them.',
          ]),
    ],
    law: NOT_ANONYMOUS_SENTENCE,
  };
}

function riskWords(
  { measure, patients, gainsReadable, intervals, intervalsOfOne, smallCounts }: MeasureRisk,
  smallestCell: number,
): string[] {
  const readable =
    `${measure}: ${countText(gainsReadable)} of ${patientsText(patients)} have one or two gains, which can be worked out ` +
    'from their sums exactly.';
  const alone = `${measure}: ${countText(intervalsOfOne)} of ${countText(intervals)} intervals of loss are of one patient.`;
  const few =
    `${measure}: ${countText(smallCounts)} ${smallCounts === 1 ? 'number' : 'numbers'} of patients ` +
    `${smallCounts === 1 ? 'is' : 'are'} below ${smallestCell}, the smallest that others are shown.`;
  return [
    ...(gainsReadable === 0 ? [] : [readable]),
    ...(intervalsOfOne === 0 ? [] : [alone]),
    ...(smallCounts === 0 ? [] : [few]),
  ];
}

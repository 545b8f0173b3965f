import { MATURITY_WORDS } from '@longhold/core/answers';
import { SEX_WORDS, unitWord } from '@longhold/ui';
import type { OutcomeSummary } from '../state/host';
import { methodErrorBrief, referenceBrief } from './source-words';

/** Which patients a question is about: `Patients: protocol A, female only.` */
export function patientsWords({ filter }: OutcomeSummary['question']): string {
  const among = [
    filter.protocol === null ? null : `protocol ${filter.protocol}`,
    filter.sex === null ? null : `${SEX_WORDS[filter.sex].toLowerCase()} only`,
    filter.expansion === null ? null : filter.expansion ? 'upper jaw widened' : 'upper jaw not widened',
    filter.maturity === null ? null : MATURITY_WORDS[filter.maturity],
  ].filter((part) => part !== null);
  return among.length === 0 ? 'All treated patients.' : `Patients: ${among.join(', ')}.`;
}

/** What an answer stands on: expected growth and method error, in a sentence each. */
export function groundsWords({ reference, question, methodError, measure, films }: OutcomeSummary): string {
  const growth = referenceBrief(reference);
  const clock = question.growthClock === 'maturity' ? ', read by stage of maturity' : '';
  return [
    ...(growth === null ? [] : [`Expected growth: ${growth}${clock}.`]),
    ...(measure.enlarged
      ? [
          `Lengths at natural size${films.assumed > 0 ? `, by a factor of ${question.filmFactor ?? 1} where films carry none` : ''}.`,
        ]
      : []),
    `Error of one reading ${methodErrorBrief(methodError, unitWord(measure.unit))}.`,
  ].join(' ');
}

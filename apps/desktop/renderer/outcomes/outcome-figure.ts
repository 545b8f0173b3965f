import { RULE_WORDS, thresholdText } from '@longhold/core/answers';
import { dataToCsv, formatNoun, measureTitle, type DataRow, type FigureToSave } from '@longhold/ui';
import { groundsWords, patientsWords } from '../question/question-words';
import { app } from '../state/app.svelte';
import { downloadBlob } from '../state/download';
import type { OutcomeSummary } from '../state/host';

/** How a figure of an answer is saved: named after measure and figure, with a note that says what was asked of what. */
export function figureToSave(
  answer: OutcomeSummary,
  name: string,
  data: () => readonly DataRow[],
): FigureToSave {
  return {
    name: `${answer.measure.code}-${name}`,
    note: noteOf(answer),
    csv: () => dataToCsv(data()),
    onfile: downloadBlob,
  };
}

/** Everything that a reader of the figure alone must know: what was asked, of whom, on what grounds, by what. */
function noteOf(answer: OutcomeSummary): string {
  const { measure, question, treated, asOf } = answer;
  return [
    `${measureTitle(measure)}; the gain stays while there is ${thresholdText(question, measure)}.`,
    RULE_WORDS[question.rule],
    `${formatNoun(treated, 'treated patient')}${asOf === null ? '' : `, records up to ${asOf}`}.`,
    patientsWords(question),
    groundsWords(answer),
    `Longhold ${app.session.value?.version ?? ''}.`,
    ...(app.store?.demo === true ? ['Invented patients.'] : []),
  ].join(' ');
}

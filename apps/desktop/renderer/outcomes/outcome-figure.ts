import { dataToCsv, type DataRow, type FigureToSave } from '@longhold/ui';
import { thresholdText } from '@longhold/core/answers';
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

function noteOf(answer: OutcomeSummary): string {
  const day = answer.asOf === null ? '' : `, records up to ${answer.asOf}`;
  const demo = app.store?.demo === true ? ' Invented patients.' : '';
  return `${answer.measure.code}; ${thresholdText(answer.question, answer.measure)}; rule: ${answer.question.rule}; ${answer.treated} treated patients${day}. Longhold ${app.session.value?.version ?? ''}.${demo}`;
}

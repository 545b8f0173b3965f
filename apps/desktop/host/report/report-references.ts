import {
  comparedSurvivalText,
  measureText,
  referenceRemark,
  referenceSentence,
  retainedText,
  shareText,
  type OutcomeAnswer,
  type ReferenceRow,
  type SensitivityAnswer,
} from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { referencesModel } from '@longhold/ui/figures';
import { html, table, type Html } from './html';
import { figure } from './report-pieces';

/** The answer under every growth reference; nothing for a measure that does not grow. */
export function referencesSection(sensitivity: SensitivityAnswer, { measure }: OutcomeAnswer): Html | null {
  const { references, retainedYear } = sensitivity;
  if (!references.needed) return null;
  return html`<section id="references">
    <h2>Under each growth reference</h2>
    <p>${referenceSentence(sensitivity, measure)}</p>
    ${
      references.rows.every(({ results }) => results === null || results.lasting === null)
        ? null
        : figure(
            referencesModel(sensitivity, 'grown', measure),
            'Lasting gain under each growth reference',
            'Numbers as in the table; the reference in force is filled.',
          )
    }
    ${table(
      'The question under each growth reference',
      [
        { heading: 'No.', kind: 'text' },
        { heading: 'Growth reference', kind: 'text' },
        { heading: 'Gain of treatment', kind: 'number' },
        { heading: `Kept at year ${retainedYear ?? '–'}`, kind: 'number' },
        { heading: 'Still there at year 5', kind: 'number' },
        { heading: 'Lasting gain', kind: 'number' },
        { heading: 'Lasting share', kind: 'number' },
      ],
      references.rows.map((row, i) => [i + 1, nameOf(row), ...resultCells(row, measure)]),
    )}
    ${references.rows.flatMap((row) => referenceRemark(row) ?? []).map((words) => html`<p>${words}</p>`)}
  </section>`;
}

function nameOf({ label, inForce }: ReferenceRow): string {
  return `${label}${inForce ? ' (as asked)' : ''}`;
}

function resultCells({ results }: ReferenceRow, { unit }: MeasureDefinition): string[] {
  if (results === null) return ['–', '–', '–', '–', '–'];
  const { gain, retained, atYears, lasting, share } = results;
  const survival = atYears.find(({ year }) => year === 5);
  const write = (value: number): string => measureText(value, unit);
  const between = ({ lower, upper }: { readonly lower: number; readonly upper: number }): string =>
    `${write(lower)} to ${write(upper)}`;
  return [
    gain === null ? '–' : `${write(gain.mean)} (${between(gain.limits)}; n ${gain.n})`,
    retained === null ? '–' : retainedText(retained),
    comparedSurvivalText(survival ?? null) ?? '–',
    lasting === null
      ? '–'
      : `${write(lasting.estimate)}${lasting.limits === null ? '' : ` (${between(lasting.limits)})`}`,
    share === null ? '–' : shareText(share),
  ];
}

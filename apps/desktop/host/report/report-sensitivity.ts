import {
  choiceText,
  comparedSurvivalText,
  measureText,
  retainedText,
  sensitivitySentence,
  shareText,
  testedText,
  type OutcomeAnswer,
  type SensitivityAnswer,
} from '@longhold/core/answers';
import { sensitivityModel } from '@longhold/ui/figures';
import { html, table, type Html } from './html';
import { figure } from './report-pieces';

/** The same question with one thing changed at a time. */
export function sensitivitySection(sensitivity: SensitivityAnswer, { measure }: OutcomeAnswer): Html {
  const { rows, retainedYear, survivalYear } = sensitivity;
  const gain = (value: number): string => measureText(value, measure.unit, 2);
  return html`<section id="sensitivity">
    <h2>How sure is it</h2>
    <p>${sensitivitySentence(sensitivity)}</p>
    ${
      rows.every(({ lasting }) => lasting === null)
        ? null
        : figure(
            sensitivityModel(sensitivity, 'grown', measure),
            'Lasting gain with one thing changed at a time',
            'Numbers as in the table; what was asked is filled.',
          )
    }
    ${table(
      'The question answered again: how much is kept, and for how long',
      [
        { heading: 'No.', kind: 'text' },
        { heading: 'Changed', kind: 'text' },
        { heading: 'Patients', kind: 'number' },
        { heading: `Kept at year ${retainedYear ?? '–'}`, kind: 'number' },
        { heading: `Still there at year ${survivalYear ?? '–'}`, kind: 'number' },
      ],
      rows.map((row, i) => [
        i + 1,
        choiceText(row),
        row.patients,
        row.retained === null ? '–' : retainedText(row.retained),
        comparedSurvivalText(row.survival) ?? '–',
      ]),
    )}
    <p class="about">
      Patients: with a gain of treatment. n: seen in that year. At risk: still followed then.
    </p>
    ${lastingTable(rows, gain)}
  </section>`;
}

/** The lasting gain under each choice; a table of its own, since all results side by side are wider than a page. */
function lastingTable(rows: SensitivityAnswer['rows'], gain: (value: number) => string): Html | null {
  if (rows.every(({ lasting }) => lasting === null)) return null;
  return table(
    'The question answered again: lasting gain',
    [
      { heading: 'No.', kind: 'text' },
      { heading: 'Changed', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'Lasting gain', kind: 'number' },
      { heading: 'Lasting share', kind: 'number' },
    ],
    rows.flatMap((row, i) =>
      row.lasting === null
        ? []
        : [
            [
              i + 1,
              choiceText(row),
              row.patients,
              testedText(row.lasting, gain),
              row.share === null ? '–' : shareText(row.share),
            ],
          ],
    ),
  );
}

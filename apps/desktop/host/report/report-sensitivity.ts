import {
  ASPECT_WORDS,
  measureText,
  percentText,
  ratioIntervalText,
  sensitivitySentence,
  type OutcomeAnswer,
  type SensitivityAnswer,
} from '@longhold/core/answers';
import { sensitivityModel } from '@longhold/ui/figures';
import { html, table, type Html } from './html';
import { figure, testedText } from './report-pieces';

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
      'The question answered again',
      [
        { heading: 'No.', kind: 'text' },
        { heading: 'Changed', kind: 'text' },
        { heading: `Kept at year ${retainedYear ?? '–'}`, kind: 'number' },
        { heading: `Still there at year ${survivalYear ?? '–'}`, kind: 'number' },
        { heading: 'Lasting gain', kind: 'number' },
        { heading: 'Lasting share', kind: 'number' },
      ],
      rows.map(({ aspect, choice, inForce, retained, survival, lasting, share }, i) => [
        i + 1,
        `${ASPECT_WORDS[aspect]}: ${choice}${inForce ? ' (as asked)' : ''}`,
        retained === null
          ? '–'
          : `${percentText(retained.estimate)} (${ratioIntervalText(retained.interval)})`,
        survival?.estimate == null ? '–' : percentText(survival.estimate),
        lasting === null ? '–' : testedText(lasting, gain),
        share === null ? '–' : `${percentText(share.estimate)} (${ratioIntervalText(share.interval)})`,
      ]),
    )}
  </section>`;
}

import { methodsText, type OutcomeAnswer, type SensitivityAnswer } from '@longhold/core/answers';
import { html, table, type Html } from './html';
import { STROBE_ITEMS } from './strobe-items';

/** A methods paragraph for a paper, with its references. */
export function paragraphSection(
  answer: OutcomeAnswer,
  sensitivity: SensitivityAnswer,
  version: string,
): Html {
  const { sentences, references } = methodsText(answer, version, sensitivity);
  return html`<section id="paragraph">
    <h2>Methods paragraph for a paper</h2>
    <p>It states what was done for this answer; take it over with what the records cannot know.</p>
    <blockquote>${sentences.join(' ')}</blockquote>
    ${references.length === 0 ? null : referenceList(references)}
  </section>`;
}

function referenceList(references: readonly string[]): Html {
  return html`<h3>References</h3>
    <ol>
      ${references.map((work) => html`<li>${work}</li>`)}
    </ol>
    <p class="about">Cited from memory unless the authors check them against the printed works.</p>`;
}

/** The checklist for reports of cohort studies, and where each item is dealt with. */
export function strobeSection(): Html {
  return html`<section id="strobe">
    <h2>Checklist for reports of cohort studies (STROBE)</h2>
    <p>Where this report says that something cannot be told, the item is still open.</p>
    ${table(
      'The 22 items in our own words',
      [
        { heading: 'Item', kind: 'number' },
        { heading: 'About', kind: 'text' },
        { heading: 'Where', kind: 'text' },
        { heading: 'What is there, or still to be written', kind: 'text' },
      ],
      STROBE_ITEMS.map(({ number, item, anchors, note }) => [
        number,
        item,
        anchors.length === 0 ? 'authors' : anchors.map(linkTo),
        note,
      ]),
    )}
  </section>`;
}

function linkTo(anchor: string, place: number): Html {
  return html`${place === 0 ? '' : ', '}<a href="#${anchor}">${anchor.replace('-', ' ')}</a>`;
}

import { methodsText, type OutcomeAnswer, type SensitivityAnswer } from '@longhold/core/answers';
import { pooledMethods } from '@longhold/core/pooled';
import { html, table, type Html } from './html';
import type { NoPoolReason, PoolOfMeasure } from './pool/pool-of-measure';
import { strobeItems } from './strobe-items';

/** A methods paragraph for a paper, with its references. */
export function paragraphSection(
  answer: OutcomeAnswer,
  sensitivity: SensitivityAnswer,
  version: string,
  pool: PoolOfMeasure | NoPoolReason,
): Html {
  const beside = typeof pool === 'string' ? null : pooledMethods(pool);
  const { sentences, references } = methodsText(answer, version, sensitivity, beside);
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
export function strobeSection(pool: PoolOfMeasure | NoPoolReason): Html {
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
      strobeItems(typeof pool !== 'string').map(({ number, item, anchors, note }) => [
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

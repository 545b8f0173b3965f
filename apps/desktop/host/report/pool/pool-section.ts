import { levelText, patientsText, type OutcomeAnswer } from '@longhold/core/answers';
import { definitionFacts } from '@longhold/core/contribution';
import { withheldCount, type QuestionDifference } from '@longhold/core/pooled';
import { html, table, type Html } from '../html';
import { differencesSection } from './pool-centres';
import { flowSection } from './pool-flow';
import type { NoPoolReason, PoolOfMeasure } from './pool-of-measure';
import { quantitiesSection } from './pool-quantities';
import { besideTable } from './pool-beside-table';
import { poolSentence, releaseSentences } from './pool-words';

/** What a pool of clinics says of the same measure; one sentence where there is none. */
export function poolSection(answer: OutcomeAnswer, pool: PoolOfMeasure | NoPoolReason): Html {
  return html`<section id="pool">
    <h2>Beside other clinics</h2>
    ${typeof pool === 'string' ? html`<p>${poolSentence(pool)}</p>` : poolChapter(answer, pool)}
  </section>`;
}

function poolChapter(answer: OutcomeAnswer, pool: PoolOfMeasure): Html {
  return html`<p>${releaseSentences(pool).join(' ')}</p>
    <div class="caution" role="note">
      The pool compares groups that were not formed by chance: centres differ in whom they treat, how, and
      whom they call back. What it shows is association, not proof, and no ranking of centres; it speaks of
      groups, never of one patient. Its records are pseudonymised, not anonymous. The agreement of the study
      group says what may be done with these numbers, and whether this report may leave the clinic with them
      in it.
    </div>
    ${alikeText(pool)} ${besideTable(answer, pool)} ${definitionTable(pool)}
    ${quantitiesSection(pool, 'How much is kept, over centres', ['retained-share'])}
    ${quantitiesSection(pool, 'For how long, over centres', ['survival'])}
    ${quantitiesSection(pool, 'Lasting, or only earlier, over centres', ['lasting', 'forward', 'lasting-share'])}
    ${differencesSection(pool)} ${flowSection(pool)} ${withheldText(pool)}`;
}

/** Whether the report asks what the study asks, so that figures of both can be set side by side. */
function alikeText({ differences }: PoolOfMeasure): Html {
  const always =
    'Even to the same question this clinic’s figures here and in the pool differ a little: the pool has only patients who consent to pooling, as they stood when last sent, with days and ages made less precise.';
  if (differences === null)
    return html`<p>
      The study definition of this answer could not be read, so whether this report asks the same question is
      not known: do not set this clinic’s figures elsewhere in this report against those of the pool.
      ${always}
    </p>`;
  if (differences.length === 0)
    return html`<p>
      This report asks what the study group asks: threshold, rule, growth reference, patients and level are
      the same. ${always}
    </p>`;
  return html`<p>
      <strong>This report asks another question than the study group.</strong> This clinic’s figures elsewhere
      in this report and those of the pool are therefore not alike; only the figures in this chapter may be
      set against each other.
    </p>
    ${differencesTable(differences)}
    <p class="about">${always}</p>`;
}

function differencesTable(differences: readonly QuestionDifference[]): Html {
  return table(
    'Where the two questions part',
    [
      { heading: 'What', kind: 'text' },
      { heading: 'This report', kind: 'text' },
      { heading: 'The study group', kind: 'text' },
    ],
    differences.map(({ name, here, pool }) => [name, here, pool]),
  );
}

function definitionTable({ definition, definitionVersion }: PoolOfMeasure): Html | null {
  if (definition === null) return null;
  return table(
    `What the study group agreed on: version ${definitionVersion} of its definition`,
    [
      { heading: 'What', kind: 'text' },
      { heading: 'Agreed', kind: 'text' },
    ],
    definitionFacts(definition).map(({ name, value }) => [name, value]),
  );
}

/** What is not shown, and why. */
function withheldText({ measure, smallestCell, countStep, level, role }: PoolOfMeasure): Html {
  const count = withheldCount(measure);
  const rule =
    role === 'coordinator' || measure.flowByCentre.length > 1
      ? `a number is shown if it is 0 or at least ${smallestCell}`
      : `a number of the pool is shown if, without any one centre, at least ${patientsText(smallestCell)} of two other centres or more are left`;
  const steps =
    countStep === 1
      ? ''
      : `Numbers of patients of the pool are told to the nearest ${countStep}, so parts need not add up, and values with no more digits than are printed; the spread between few centres is withheld, since each could work out from it what the others sent.`;
  return html`<h3>What is withheld</h3>
    <p>
      ${
        count === 0
          ? 'No number of this measure is withheld from this store.'
          : `${count === 1 ? 'One number' : `${count} numbers`} of this measure ${count === 1 ? 'is' : 'are'} withheld from this store, shown as “Withheld”.`
      }
      The rule: ${rule}. All numbers that are shown are judged together, and further ones are withheld until
      none that is too small follows from the others by subtraction; a new answer takes the place of the last
      one only when enough patients have changed, so that two answers cannot be subtracted either. An estimate
      is withheld with the number it stands on where that is too small. Intervals of the pool are at
      ${levelText(level)}. ${steps}
    </p>`;
}

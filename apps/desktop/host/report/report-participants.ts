import {
  GROUPING_WORDS,
  measureText,
  numberText,
  participantsOf,
  percentText,
  type OutcomeAnswer,
  type Participants,
  type ParticipantQuantity,
} from '@longhold/core/answers';
import { html, table, type Html } from './html';

const QUANTITY_WORDS: Readonly<Record<ParticipantQuantity, string>> = {
  'age-at-end': 'Age at the end of active treatment, years',
  gain: 'Gain of treatment',
  followed: 'Years from there to the latest visit',
};

/** Who the treated patients are: counts by kind, medians and quartiles, length of follow-up. */
export function participantsSection(answer: OutcomeAnswer): Html {
  const participants = participantsOf(answer);
  return html`<section id="participants">
    <h2>Who they are</h2>
    ${
      participants.patients === 0
        ? html`<p>No treated patient with consent for follow-up is among those asked about.</p>`
        : html`${countsTable(participants)} ${quartilesTable(participants, answer)}`
    }
  </section>`;
}

function countsTable({ patients, counts }: Participants): Html {
  const share = (count: number): string => `${count} (${percentText(count / patients)})`;
  return table(
    `Treated patients with consent for follow-up: ${patients}`,
    [
      { heading: 'What', kind: 'text' },
      { heading: 'Kind', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
    ],
    counts.flatMap(({ characteristic, groups, notRecorded }) =>
      [
        ...groups.map(({ label, patients: count }) => [label, share(count)]),
        ...(notRecorded === 0 ? [] : [['Not recorded', share(notRecorded)]]),
      ].map((cells) => [GROUPING_WORDS[characteristic], ...cells]),
    ),
  );
}

function quartilesTable({ quartiles, neverSeen }: Participants, { measure }: OutcomeAnswer): Html {
  return html`${table(
      'Age, gain and length of follow-up',
      [
        { heading: 'What', kind: 'text' },
        { heading: 'Patients', kind: 'number' },
        { heading: 'Not known', kind: 'number' },
        { heading: 'Median', kind: 'number' },
        { heading: 'Quartiles', kind: 'number' },
        { heading: 'Smallest to largest', kind: 'number' },
      ],
      quartiles.map(({ quantity, patients, notKnown, ...at }) => {
        const write = (value: number): string =>
          quantity === 'gain' ? measureText(value, measure.unit) : numberText(value);
        return [
          QUANTITY_WORDS[quantity],
          patients,
          notKnown,
          write(at.median),
          `${write(at.lowerQuartile)} to ${write(at.upperQuartile)}`,
          `${write(at.smallest)} to ${write(at.largest)}`,
        ];
      }),
    )}
    <p class="about">
      Length of follow-up: plain quartiles of the time to the latest follow-up visit of any kind, with 0 for
      the ${neverSeen} not seen since treatment; not the reverse Kaplan-Meier convention.
    </p>`;
}

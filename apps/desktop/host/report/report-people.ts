import {
  LEFT_OUT_WORDS,
  measureText,
  missingSentence,
  NOT_SEEN_WORDS,
  numberText,
  percentText,
  STATUS_REASON_WORDS,
  VERDICT_ORDER,
  VERDICT_WORDS,
  type FlowYear,
  type NotSeenReason,
  type OutcomeAnswer,
  type PatientOutcome,
} from '@longhold/core/answers';
import { flowFigure } from '@longhold/ui/figures';
import { figureMarkup, html, table, type Html } from './html';

const REASONS: readonly NotSeenReason[] = [
  'withdrew',
  'moved',
  'declined',
  'treated-again',
  'no-consent',
  'not-known',
];
/** Who was seen, who was not, and who is left out of the curve. */
export function missingSection(answer: OutcomeAnswer, document: Document): Html {
  const { flow, leftOut } = answer;
  return html`<section id="flow">
    <h2>Who is missing</h2>
    <p>${missingSentence(answer)}</p>
    ${stagesTable(answer)} ${flow.length === 0 ? null : flowDetail(flow, document)}
    ${
      leftOut.length === 0
        ? null
        : table(
            'Treated patients who are not in the survival curve',
            [
              { heading: 'Reason', kind: 'text' },
              { heading: 'Patients', kind: 'number' },
              { heading: 'Codes', kind: 'text' },
            ],
            leftOut.map(({ reason, codes }) => [LEFT_OUT_WORDS[reason], codes.length, codeList(codes)]),
          )
    }
  </section>`;
}

/** From everybody asked about to those in each analysis. */
function stagesTable({ treated, patients, survival, separation }: OutcomeAnswer): Html | null {
  if (treated === 0) return null;
  return table(
    'Numbers in each analysis',
    [
      { heading: 'Treated patients', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
    ],
    [
      ['asked about', treated],
      ['of these with consent for follow-up', patients.length],
      [
        'of these with a gain of treatment that can be computed',
        patients.filter((one) => one.gain !== null).length,
      ],
      ['in the survival curve', survival?.patients ?? 0],
      ['in the models of the lasting gain', separation.patients],
    ],
  );
}

function flowDetail(flow: readonly FlowYear[], document: Document): Html {
  const shown = REASONS.filter((reason) => flow.some(({ notSeen }) => notSeen[reason] > 0));
  return html`<figure>
      ${figureMarkup(flowFigure(document, flow))}
      <figcaption>
        A year's window reaches from half a year before to half a year after the anniversary of the end of
        active treatment; only patients whose window has closed are counted.
      </figcaption>
    </figure>
    ${table(
      'Who was seen, by year',
      [
        { heading: 'Year', kind: 'text' },
        { heading: 'Could have been seen', kind: 'number' },
        { heading: 'Seen', kind: 'number' },
        { heading: 'Measured', kind: 'number' },
        ...shown.map((reason) => ({ heading: NOT_SEEN_WORDS[reason], kind: 'number' as const })),
      ],
      flow.map(({ year, eligible, seen, measured, notSeen }) => [
        year,
        eligible,
        seen,
        measured,
        ...shown.map((reason) => notSeen[reason]),
      ]),
    )}`;
}

function codeList(codes: readonly string[]): Html[] {
  return codes.map(
    (code, index) => html`<span class="code">${code}</span>${index < codes.length - 1 ? ', ' : ''}`,
  );
}

/** How many patients hold, have lost, or cannot be judged. */
export function statusSection({ statusCounts }: OutcomeAnswer): Html {
  return html`<section>
    <h2>What became of each patient</h2>
    ${table(
      'Status at the latest follow-up visit',
      [
        { heading: 'Status', kind: 'text' },
        { heading: 'Patients', kind: 'number' },
      ],
      VERDICT_ORDER.map((verdict) => [VERDICT_WORDS[verdict], statusCounts[verdict]]),
    )}
    <p>
      A gain is <em>held</em> or <em>lost</em> only where measurement error and the child's own growth
      together leave no doubt at the level of the question.
    </p>
  </section>`;
}

/** Every treated patient by code. */
export function patientsSection(answer: OutcomeAnswer): Html {
  if (answer.patients.length === 0)
    return html`<section>
      <h2>Patient by patient</h2>
      <p>No patient is among those asked about.</p>
    </section>`;
  return html`<section>
    <h2>Patient by patient</h2>
    <p>
      The codes are pseudonyms of the clinic's own: this list is still personal data and is not for
      publication.
    </p>
    ${partsOf(answer.patients).map((patients) => patientTable(patients, answer))}
  </section>`;
}

/** Browsers fail to print one table of many thousand rows; several shorter ones they print. */
const PATIENTS_A_TABLE = 500;

function partsOf(patients: readonly PatientOutcome[]): PatientOutcome[][] {
  const parts = Math.ceil(patients.length / PATIENTS_A_TABLE);
  return Array.from({ length: parts }, (_, part) =>
    patients.slice(part * PATIENTS_A_TABLE, (part + 1) * PATIENTS_A_TABLE),
  );
}

function patientTable(patients: readonly PatientOutcome[], answer: OutcomeAnswer): Html {
  const [first, last] = [patients[0], patients[patients.length - 1]];
  const all = patients.length === answer.patients.length;
  return table(
    all ? 'Treated patients' : `Treated patients ${first?.code ?? ''} to ${last?.code ?? ''}`,
    [
      { heading: 'Code', kind: 'code' },
      { heading: 'Sex', kind: 'text' },
      { heading: 'Protocol', kind: 'text' },
      { heading: 'Gain', kind: 'number' },
      { heading: 'Latest share', kind: 'number' },
      { heading: 'After (years)', kind: 'number' },
      { heading: 'Status', kind: 'text' },
      { heading: 'Loss (years)', kind: 'text' },
    ],
    patients.map((patient) => patientRow(patient, answer)),
  );
}

function patientRow(patient: PatientOutcome, { measure }: OutcomeAnswer): string[] {
  const { gain, status, loss, leftOut } = patient;
  const latest = [...patient.visits]
    .reverse()
    .find(({ kind, gain: now }) => kind === 'follow_up' && now !== null);
  const why = status.reason === null ? '' : `: ${STATUS_REASON_WORDS[status.reason]}`;
  return [
    patient.code,
    patient.sex,
    patient.protocol ?? '–',
    gain === null ? '–' : measureText(gain.estimate, measure.unit),
    latest?.share == null ? '–' : percentText(latest.share.estimate),
    latest?.years == null ? '–' : numberText(latest.years),
    status.verdict === 'treated-again'
      ? VERDICT_WORDS[status.verdict]
      : `${VERDICT_WORDS[status.verdict]}${why}`,
    lossText(loss, leftOut),
  ];
}

function lossText(loss: PatientOutcome['loss'], leftOut: PatientOutcome['leftOut']): string {
  if (loss === null) return leftOut === null ? '–' : `left out: ${LEFT_OUT_WORDS[leftOut].toLowerCase()}`;
  return loss.right === null
    ? `after ${numberText(loss.left)}, if at all`
    : `between ${numberText(loss.left)} and ${numberText(loss.right)}`;
}

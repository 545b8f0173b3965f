import { createHash } from 'node:crypto';
import type { OutcomeAnswer } from '@longhold/core/answers';
import { html, type Html } from './html';
import { retentionSection, survivalSection } from './report-answers';
import { gaveWaySection } from './report-gave-way';
import { filterText, methodsSection } from './report-methods';
import { absenceSection, separationSection, survivalComparisons } from './report-models';
import { poolOfMeasure } from './pool/pool-of-measure';
import { poolSection } from './pool/pool-section';
import { paragraphSection, strobeSection } from './report-paper';
import { participantsSection } from './report-participants';
import { missingSection, patientsSection, statusSection } from './report-people';
import { referencesSection } from './report-references';
import { sensitivitySection } from './report-sensitivity';
import { REPORT_STYLE } from './report-style';
import type { ReportInput } from './results';
import type { Results } from './results-schema';

/**
 * The report as one self-contained page: nothing is loaded, nothing runs. Its own content policy allows only its
 * own style sheet, named by hash.
 * @param document any DOM document to draw the figures with
 */
export function reportPage(
  { answer, sensitivity, pool: beside }: Pick<ReportInput, 'answer' | 'sensitivity' | 'pool'>,
  results: Results,
  document: Document,
): string {
  /* Whole and unformatted: the hash in the policy holds for exactly this text. */
  const styleElement = { markup: `<style>${REPORT_STYLE}</style>` };
  const styleHash = createHash('sha256').update(REPORT_STYLE).digest('base64');
  const policy = `default-src 'none'; style-src 'sha256-${styleHash}'; base-uri 'none'; form-action 'none'`;
  const { measure } = answer;
  const pool = poolOfMeasure(beside, answer);
  const page = html`<!doctype html>
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta http-equiv="Content-Security-Policy" content="${policy}" />
        <meta name="viewport" content="width=device-width" />
        <title>Does the gain in ${measure.code} stay? Longhold report</title>
        ${styleElement}
      </head>
      <body>
        <header>
          ${inventedBanner(results)}
          <h1>Does the gain in ${measure.code} stay?</h1>
          <p class="about">${aboutText(answer, results)}</p>
        </header>
        <main>
          ${answerBox(answer, results)} ${missingSection(answer, document)} ${participantsSection(answer)}
          ${methodsSection(answer, results)} ${retentionSection(answer, document)}
          ${survivalSection(answer, results, document)} ${survivalComparisons(answer)}
          ${separationSection(answer)} ${gaveWaySection(answer)} ${absenceSection(answer)}
          ${referencesSection(sensitivity, answer)} ${sensitivitySection(sensitivity, answer)}
          ${statusSection(answer)} ${poolSection(answer, pool)}
          ${paragraphSection(answer, sensitivity, results.software.version, pool)} ${strobeSection(pool)}
          ${traceSection(results)} ${patientsSection(answer)}
        </main>
      </body>
    </html> `;
  return page.markup;
}

function inventedBanner({ source }: Results): Html | null {
  return source.invented
    ? html`<p class="invented">Invented data. Every patient, clinic and number in this report is made up.</p>`
    : null;
}

function aboutText(answer: OutcomeAnswer, { source, asOf }: Results): string {
  const read = asOf === null ? '' : ` Records as of ${asOf}.`;
  return `${answer.measure.name}. Store “${source.store}”: ${filterText(answer)} Untreated children: ${answer.untreated}.${read}`;
}

function answerBox({ warnings }: OutcomeAnswer, { sentences }: Results): Html {
  return html`<div class="answer" id="answer">
      <p>${sentences.retention}</p>
      <p>${sentences.survival}</p>
      <p>${sentences.separation}</p>
    </div>
    <div id="cautions">
      ${
        warnings.length === 0
          ? null
          : html`<h3>To bear in mind</h3>
              <ul>
                ${warnings.map(({ detail }) => html`<li>${detail}</li>`)}
              </ul>`
      }
    </div>
    <div class="caution" role="note">
      Decision support for research and audit: not a diagnosis and not a medical device. A group's answer does
      not decide what is right for one patient. A radiograph is taken only when a licensed clinician justifies
      it for that patient; nothing here says that one is due. Local law, ethics approval and data protection
      come first.
    </div>`;
}

/** The pool is no part of the records: it is the service's, and the next one may be another. */
function pooledTrace({ answer }: Results['pool']): string {
  return answer === null
    ? ''
    : `The pooled answer among them is number ${answer.release} of the pooling service's store ${answer.epoch}, as it was when this report was written.`;
}

function traceSection({ software, source, definitions, asOf, pool }: Results): Html {
  return html`<section id="question">
    <h2>Where these numbers come from</h2>
    <p>
      ${software.name} ${software.version}; records ${asOf === null ? '' : `as of ${asOf} `}with the
      fingerprint
      <code>${source.fingerprint}</code>. The same version, records and question give the same numbers to the
      last digit. All of them, patient by patient, are in the file results.json that belongs to this report.
      ${pooledTrace(pool)}
    </p>
    <p>The question: <code>${JSON.stringify(definitions.question)}</code></p>
  </section>`;
}

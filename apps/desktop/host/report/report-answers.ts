import {
  aboveSentence,
  carriedSentence,
  betweenYearsText,
  RULE_LEANING,
  measureText,
  numberText,
  percentText,
  ratioIntervalText,
  shareLimitsText,
  type OutcomeAnswer,
  type RetainedYear,
  type SurvivalAnswer,
  type SurvivalAtYear,
} from '@longhold/core/answers';
import { retentionFigure, survivalFigure } from '@longhold/ui/figures';
import { figureMarkup, html, table, type Html } from './html';
import type { Results } from './results-schema';

/** How much of the gain is kept: figure and table. */
export function retentionSection(answer: OutcomeAnswer, document: Document): Html {
  const { retained, question, measure, gain } = answer;
  const { level } = question;
  return html`<section id="retention">
    <h2>How much of the gain is kept</h2>
    ${
      retained.length === 0
        ? html`<p>Nobody has been followed for half a year yet.</p>`
        : html`${retainedFigure(answer, document)}
          ${table(
            `Retained share of ${measure.code} by year`,
            [
              { heading: 'Year', kind: 'text' },
              { heading: 'Patients', kind: 'number' },
              { heading: 'Mean gain at end of active treatment', kind: 'number' },
              { heading: 'Mean gain now', kind: 'number' },
              { heading: 'Share kept', kind: 'number' },
              { heading: `${percentText(level)} limits`, kind: 'number' },
              { heading: 'Limits by resampling', kind: 'number' },
            ],
            retained.map((year) => retainedRow(year, answer)),
          )}`
    }
    ${answer.changes.length === 0 ? null : changesTable(answer)}
    ${gain === null ? null : html`<p class="about">SD of the gain between patients: ${measureText(gain.sd, measure.unit)}.</p>`}
  </section>`;
}

/** The shares by year; null where none could be computed. */
function retainedFigure({ retained, question }: OutcomeAnswer, document: Document): Html | null {
  if (retained.every(({ share }) => share === null)) return null;
  const { threshold, level } = question;
  const thresholdShare = threshold.kind === 'share' ? threshold.share : null;
  return html`<figure>
    ${figureMarkup(retentionFigure(document, { retained, thresholdShare }))}
    <figcaption>
      Mean gain in a year divided by the mean gain at the end of active treatment of the same patients, with
      ${percentText(level)} limits (Fieller). A limit that ends in an arrowhead lies outside the figure.
    </figcaption>
  </figure>`;
}

function changesTable({ changes, measure }: OutcomeAnswer): Html {
  const amount = (value: number): string => measureText(value, measure.unit, 2);
  return table(
    'Change of the gain a year, in patients seen in both years',
    [
      { heading: 'Between', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'Mean change a year', kind: 'number' },
      { heading: 'Limits', kind: 'number' },
    ],
    changes.map(({ n, mean, limits, ...years }) => [
      betweenYearsText(years),
      n,
      amount(mean),
      `${amount(limits.lower)} to ${amount(limits.upper)}`,
    ]),
  );
}

function retainedRow(year: RetainedYear, { measure }: OutcomeAnswer): string[] {
  const amount = (value: number | null): string => (value === null ? '–' : measureText(value, measure.unit));
  return [
    String(year.year),
    String(year.n),
    amount(year.meanGainAtEnd),
    amount(year.meanGainNow),
    year.share === null ? '–' : percentText(year.share.estimate),
    year.share === null ? '–' : ratioIntervalText(year.share.interval),
    year.bootstrap === null ? '–' : shareLimitsText(year.bootstrap),
  ];
}

/** How long the gain stays: figure, table and what the rule makes of errors. */
export function survivalSection(answer: OutcomeAnswer, results: Results, document: Document): Html {
  const { survival } = answer;
  return html`<section id="survival">
    <h2>How long the gain stays</h2>
    <p>${results.definitions.inWords.rule} ${RULE_LEANING[answer.question.rule]}</p>
    ${survival === null ? null : survivalDetail(survival, answer, document)} ${aboveDetail(answer)}
  </section>`;
}

function survivalDetail(
  survival: SurvivalAnswer,
  { question: { level }, reference }: OutcomeAnswer,
  document: Document,
): Html {
  const conventional = new Map(survival.kaplanMeier.atYears.map((at) => [at.year, at]));
  const limitsHeading = `${percentText(level)} limits`;
  return html`<figure>
      ${figureMarkup(survivalFigure(document, survival))}
      <figcaption>
        A loss happens between the last visit without and the first visit with it. Where the time of loss is
        known only to lie in an interval, the curve is not defined and a box is drawn. Limits point by point:
        exact binomial ones for the number of patients that would be as informative, found from
        ${survival.turnbull.resamples} resamples of the patients. ${carriedSentence(survival, reference)}
      </figcaption>
    </figure>
    ${table(
      'Patients who still have the gain',
      [
        { heading: 'Year', kind: 'text' },
        { heading: 'At risk', kind: 'number' },
        { heading: 'Interval-censored', kind: 'number' },
        { heading: limitsHeading, kind: 'number' },
        { heading: 'Kaplan-Meier', kind: 'number' },
        { heading: limitsHeading, kind: 'number' },
      ],
      survival.turnbull.atYears.map((at) => {
        const usual = conventional.get(at.year);
        return [
          String(at.year),
          String(at.atRisk),
          estimateText(at),
          limitsText(at),
          usual === undefined ? '–' : estimateText(usual),
          usual === undefined ? '–' : limitsText(usual),
        ];
      }),
    )}
    ${
      survival.turnbull.atYears.some(({ undefinedWithin }) => undefinedWithin !== null)
        ? html`<p class="about">
            * The year lies in an interval in which the curve is not defined: anything between the two values
            given fits the data equally well. The estimate lies on the straight line between them.
          </p>`
        : null
    }
    <p>
      ${survival.patients} patients are in the risk set; ${survival.losses} were seen to lose the gain and
      ${survival.treatedAgain} were treated again. Had nobody lost anything, measurement error alone would
      have been expected to show ${numberText(survival.falseLossesExpected)} losses under this rule.
    </p>`;
}

/** Without any loss rule: how many of those seen stand above the threshold, with measurement error taken out. */
function aboveDetail(answer: OutcomeAnswer): Html | null {
  if (answer.above.length === 0) return null;
  const sentence = aboveSentence(answer);
  return html`${sentence === null ? null : html`<p>${sentence}</p>`}
  ${table(
    'Those seen who stand above the threshold, under no loss rule',
    [
      { heading: 'Year', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'As measured', kind: 'number' },
      { heading: 'Measurement error taken out', kind: 'number' },
      { heading: `${percentText(answer.question.level)} limits`, kind: 'number' },
    ],
    answer.above.map(({ year, n, measured, corrected }) => [
      String(year),
      String(n),
      measured === null ? '–' : percentText(measured),
      corrected === null ? 'cannot be told' : percentText(corrected.estimate),
      corrected === null ? '–' : shareLimitsText(corrected.limits),
    ]),
  )}`;
}

function estimateText({ estimate, undefinedWithin }: SurvivalAtYear): string {
  if (estimate === null) return 'nobody followed';
  if (undefinedWithin === null) return percentText(estimate);
  return `${percentText(estimate)} * (${percentText(undefinedWithin.lower)} or ${percentText(undefinedWithin.upper)})`;
}

function limitsText({ limits }: SurvivalAtYear): string {
  return limits === null ? '–' : shareLimitsText(limits);
}

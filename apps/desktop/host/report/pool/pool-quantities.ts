import { countText, percentText, pText } from '@longhold/core/answers';
import { findMeasure, type Unit } from '@longhold/core/measures';
import { isRefusal } from '@longhold/core/numeric';
import {
  bestPlace,
  meanText,
  ofMeanText,
  ownText,
  pooledEstimateText,
  pooledSubject,
  predictionText,
  quantitySentences,
  seriesText,
  shownCountText,
  shownText,
  warningWords,
  type QuantityKind,
  type ViewedQuantity,
} from '@longhold/core/pooled';
import { forestSvg, pooledForest, withoutOneForest, type ForestContext } from '@longhold/ui/figures';
import { figureMarkup, html, table, type Html } from '../html';
import type { PoolOfMeasure } from './pool-of-measure';
import { centreNamer } from './pool-words';

/** More centres than this are not drawn one by one, nor listed for every year; all of them are in results.json. */
export const MANY_CENTRES = 40;

/** One kind of result over the years, or the parts of the gain: in words, drawn, and in tables. */
export function quantitiesSection(
  pool: PoolOfMeasure,
  title: string,
  kinds: readonly QuantityKind[],
): Html | null {
  const quantities = pool.measure.quantities.filter(({ kind }) => kinds.includes(kind));
  if (quantities.length === 0) return null;
  const context = contextOf(pool);
  const unit = findMeasure(context.measure)?.unit ?? 'mm';
  const drawn = quantities.some(({ year }) => year !== null)
    ? quantities.slice(bestPlace(quantities)).slice(0, 1)
    : quantities;
  return html`<h3>${title}</h3>
    ${drawn.map((quantity) => quantityInWords(quantity, context, pool))}
    ${resultsTable(title, quantities, unit, pool)} ${heterogeneityTable(title, quantities)}
    ${centresTable(title, quantities.length > drawn.length && tooMany(quantities) ? drawn : quantities, unit, context)}
    ${remarks(quantities, context, pool)}`;
}

function contextOf(pool: PoolOfMeasure): ForestContext {
  const { measure, level, ownCentre } = pool;
  return { measure: measure.measure, level, ownCentre, nameOf: centreNamer(pool) };
}

function tooMany(quantities: readonly ViewedQuantity[]): boolean {
  return quantities.some(({ rows }) => rows.length > MANY_CENTRES);
}

function quantityInWords(quantity: ViewedQuantity, context: ForestContext, pool: PoolOfMeasure): Html {
  const sentences = quantitySentences(quantity, { measure: context.measure, level: context.level });
  const many = tooMany([quantity]);
  const model = pooledForest(many ? { ...quantity, rows: [] } : quantity, context);
  const without = withoutOneForest(quantity, context);
  const note = `Pooled answer number ${pool.release} by version ${pool.definitionVersion} of the study definition.`;
  const [first = '', ...further] = sentences;
  return html`<p>${first}</p>
    ${further.length === 0 ? null : html`<p class="about">${further.join(' ')}</p>`}
    ${
      model.rows.length === 0
        ? null
        : html`<figure>
            ${figureMarkup(forestSvg(model, { title: pooledSubject(quantity), note }))}
            <figcaption>
              Estimates with their intervals; a line that ends in an arrowhead goes on beyond the figure.
              ${many ? `The ${countText(quantity.rows.length)} centres are in the table below.` : ''}
            </figcaption>
          </figure>`
    }
    ${
      without.rows.length === 0 || many
        ? null
        : html`<figure>
            ${figureMarkup(forestSvg(without, { title: `${pooledSubject(quantity)}: one centre left out at a time`, note }))}
            <figcaption>The mean over centres without each of them, against the mean of all.</figcaption>
          </figure>`
    }`;
}

function labelOf(quantity: ViewedQuantity): string {
  return quantity.year === null ? pooledSubject(quantity) : `Year ${quantity.year}`;
}

function resultsTable(
  title: string,
  quantities: readonly ViewedQuantity[],
  unit: Unit,
  { ownCentre }: PoolOfMeasure,
): Html {
  return table(
    `${title}: in two stages and in one`,
    [
      { heading: 'Result', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'Two stages: mean over centres', kind: 'result' },
      { heading: 'A further centre', kind: 'result' },
      { heading: 'One stage: all as one series', kind: 'result' },
      ...(ownCentre === null ? [] : [{ heading: 'This clinic (patients)', kind: 'result' } as const]),
    ],
    quantities.map((quantity) => [
      labelOf(quantity),
      shownCountText(quantity.patients),
      meanText(quantity, unit),
      predictionText(quantity, unit),
      seriesText(quantity, unit),
      ...(ownCentre === null ? [] : [ownText(quantity, unit)]),
    ]),
  );
}

/** How far the centres differ in each result. */
function heterogeneityTable(title: string, quantities: readonly ViewedQuantity[]): Html | null {
  const means = quantities.filter(({ twoStage }) => twoStage !== null && !isRefusal(twoStage));
  if (means.length === 0) return null;
  const logLog = means.some(({ scale }) => scale === 'log-minus-log');
  return html`${table(
      `${title}: how centres differ`,
      [
        { heading: 'Result', kind: 'text' },
        { heading: 'Centres', kind: 'number' },
        { heading: 'τ² between centres', kind: 'result' },
        { heading: 'Its limits', kind: 'result' },
        { heading: 'I²', kind: 'number' },
        { heading: 'Q (degrees of freedom)', kind: 'number' },
        { heading: 'p of no difference', kind: 'number' },
      ],
      means.map((quantity) => [
        labelOf(quantity),
        ofMeanText(quantity, ({ centres }) => countText(centres)),
        ofMeanText(quantity, ({ tauSquared }) => shownText(tauSquared, varianceText)),
        ofMeanText(quantity, ({ tauSquaredLimits }) =>
          shownText(
            tauSquaredLimits,
            ({ lower, upper }) => `${varianceText(lower)} to ${varianceText(upper)}`,
          ),
        ),
        ofMeanText(quantity, ({ iSquared }) => shownText(iSquared, percentText)),
        ofMeanText(quantity, ({ q, qDegreesOfFreedom }) =>
          shownText(q, (statistic) => `${statistic.toFixed(2)} (${qDegreesOfFreedom})`),
        ),
        ofMeanText(quantity, ({ qP }) => shownText(qP, pText)),
      ]),
    )}
    <p class="about">
      τ² is the variance of the true values between centres${logLog ? ', here on the scale log(−log S)' : ''};
      I² the share of all variance that lies between centres. A further centre: where its true value is
      expected.
    </p>`;
}

const SMALLEST_VARIANCE = 1e-4;

/** A variance with three significant digits. */
function varianceText(variance: number): string {
  if (variance > 0 && variance < SMALLEST_VARIANCE) return `<\u00a0${SMALLEST_VARIANCE.toFixed(4)}`;
  return String(Number(variance.toPrecision(3)));
}

/** Every centre that may be shown, its weight, and the mean without it. */
function centresTable(
  title: string,
  quantities: readonly ViewedQuantity[],
  unit: Unit,
  { nameOf }: ForestContext,
): Html | null {
  const rows = quantities.flatMap((quantity) => {
    const { kind } = quantity;
    return quantity.rows.map(({ centre, patients, estimate, interval, weight }) => {
      const rest = quantity.withoutOne.find((one) => one.centre === centre);
      return [
        labelOf(quantity),
        nameOf(centre),
        countText(patients),
        pooledEstimateText(kind, { estimate, interval }, unit),
        weight === null ? '–' : percentText(weight),
        rest === undefined
          ? '–'
          : pooledEstimateText(
              kind,
              { estimate: rest.estimate, interval: { kind: 'bounded', ...rest.limits } },
              unit,
            ),
        rest === undefined ? '–' : percentText(rest.iSquared),
      ];
    });
  });
  if (rows.length === 0) return null;
  return table(
    `${title}: the centres, and the mean without each`,
    [
      { heading: 'Result', kind: 'text' },
      { heading: 'Centre', kind: 'code' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'Its own estimate', kind: 'result' },
      { heading: 'Weight', kind: 'number' },
      { heading: 'Mean without it', kind: 'result' },
      { heading: 'I² then', kind: 'number' },
    ],
    rows,
  );
}

/** What is to be known of single results: centres left out or withheld, refusals, and warnings of the mean. */
function remarks(
  quantities: readonly ViewedQuantity[],
  { nameOf }: ForestContext,
  { smallestCell }: PoolOfMeasure,
): Html | null {
  const said = new Map<string, string[]>();
  const say = (sentence: string, quantity: ViewedQuantity): void => {
    said.set(sentence, [...(said.get(sentence) ?? []), labelOf(quantity)]);
  };
  for (const quantity of quantities) {
    const { twoStage, oneStage, leftOut, rowsWithheld } = quantity;
    if (twoStage !== null && !isRefusal(twoStage)) {
      for (const warning of twoStage.warnings) say(warningWords(warning), quantity);
    }
    if (isRefusal(twoStage)) say(`No mean over centres. ${twoStage.message}`, quantity);
    if (isRefusal(oneStage)) say(`Nothing of all patients as one series. ${oneStage.message}`, quantity);
    for (const { centre, why } of leftOut)
      say(`${nameOf(centre)} has no estimate of its own. ${why.message}`, quantity);
    if (rowsWithheld !== null && rowsWithheld > 0)
      say(
        `${rowsWithheld === 1 ? 'One centre is' : `${countText(rowsWithheld)} centres are`} withheld: fewer than ${smallestCell} patients, or the number could be worked out from those shown.`,
        quantity,
      );
  }
  return said.size === 0
    ? null
    : html`<ul>
        ${[...said].map(([sentence, where]) => html`<li>${where.join(', ')}: ${sentence}</li>`)}
      </ul>`;
}

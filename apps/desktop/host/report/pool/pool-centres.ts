import { GROUPING_WORDS, LEFT_OUT_WORDS, measureText } from '@longhold/core/answers';
import { findMeasure } from '@longhold/core/measures';
import { isRefusal } from '@longhold/core/numeric';
import {
  chiSquaredText,
  incidenceText,
  poolSentences,
  seriesText,
  shownCountText,
} from '@longhold/core/pooled';
import { html, table, type Html } from '../html';
import type { PoolOfMeasure } from './pool-of-measure';

/** Who is behind the pool, whether centres and groups differ, and losses beside second treatments. */
export function differencesSection(pool: PoolOfMeasure): Html {
  const { measure } = pool;
  return html`<h3>Who is behind the pool, and do centres differ?</h3>
    <p>${poolSentences(measure).join(' ')}</p>
    ${leftOutTable(pool)}
    ${table(
      'Tests over all patients',
      [
        { heading: 'Question', kind: 'text' },
        { heading: 'Result', kind: 'text' },
      ],
      [
        ['Do centres lose the gain at different times?', chiSquaredText(measure.survivalDifferences)],
        ['Do centres differ in lasting and earlier growth?', chiSquaredText(measure.separationDifferences)],
        ...(measure.groups.length > 1
          ? [
              [
                'Do groups lose the gain at different times, within centres?',
                chiSquaredText(measure.groupTest),
              ],
            ]
          : []),
        ...spreadRows(pool),
      ],
    )}
    ${groupsTable(pool)} ${competingTable(pool)}`;
}

function leftOutTable({ measure: { leftOut } }: PoolOfMeasure): Html | null {
  if (leftOut.length === 0) return null;
  return table(
    'Treated patients of the pool who are not in its curve',
    [
      { heading: 'Why', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
    ],
    leftOut.map(({ reason, patients }) => [LEFT_OUT_WORDS[reason], shownCountText(patients)]),
  );
}

function spreadRows({ measure: { measure, spread } }: PoolOfMeasure): string[][] {
  if (spread === null || isRefusal(spread)) return [];
  const unit = findMeasure(measure)?.unit ?? 'mm';
  const both = (part: { readonly lasting: number; readonly forward: number }): string =>
    `${measureText(part.lasting, unit, 2)} in the lasting gain, ${part.forward.toFixed(2)} years in growth brought forward`;
  return [
    ['How far do patients of one centre spread (SD)?', both(spread.patients)],
    ['How far do centres spread (SD)?', both(spread.centres)],
  ];
}

function groupsTable({ measure: { groups }, definition, measure }: PoolOfMeasure): Html | null {
  const unit = findMeasure(measure.measure)?.unit ?? 'mm';
  const rows = groups.flatMap(({ label, atYears }) =>
    atYears.map(({ year, patients, oneStage }) => [
      label,
      String(year),
      shownCountText(patients),
      seriesText({ kind: 'survival', oneStage, between: null }, unit),
    ]),
  );
  if (rows.length === 0) return null;
  return table(
    `Share of patients who still have the gain, by group, all centres together${definition === null ? '' : ` (${GROUPING_WORDS[definition.groupBy].toLowerCase()})`}`,
    [
      { heading: 'Group', kind: 'text' },
      { heading: 'Year', kind: 'number' },
      { heading: 'At risk', kind: 'number' },
      { heading: 'Still have the gain', kind: 'result' },
    ],
    rows,
  );
}

function competingTable({ measure: { competing } }: PoolOfMeasure): Html | null {
  if (competing.length === 0) return null;
  return table(
    'Share of patients who lost the gain or were treated again first, all centres together',
    [
      { heading: 'Year', kind: 'text' },
      { heading: 'Gain lost', kind: 'result' },
      { heading: 'Treated again first', kind: 'result' },
      { heading: 'Neither', kind: 'result' },
    ],
    competing.map(({ year, lost, treatedAgain, neither }) => [
      String(year),
      incidenceText(lost),
      incidenceText(treatedAgain),
      incidenceText(neither),
    ]),
  );
}

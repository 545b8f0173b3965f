import {
  gaveWaySentence,
  measureText,
  splitLeftOutText,
  type OutcomeAnswer,
  type SplitAnswer,
} from '@longhold/core/answers';
import { partsModel, SPAN_WORDS } from '@longhold/ui/figures';
import { html, table, type Html } from './html';
import { figure } from './report-pieces';

/** What gave way: the parts of corrections. */
export function gaveWaySection(answer: OutcomeAnswer): Html {
  const { gaveWay } = answer;
  const splits = [
    { title: 'Overjet', rows: gaveWay.overjet },
    { title: 'Molar relation', rows: gaveWay.molar },
    { title: 'Chin position', rows: gaveWay.chin },
  ].filter(({ rows }) => rows.some(({ whole }) => whole !== null));
  return html`<section id="gave-way">
    <h2>What gave way: jaw or teeth</h2>
    <p>${gaveWaySentence(answer)}</p>
    ${splits.map(
      ({ title, rows }) =>
        html`${figure(
          partsModel(rows, 'Mean movement, favourable direction'),
          `${title}: what moved`,
          'Means with limits over the patients with all points. Growth is not taken out; the table gives what untreated children of the same ages change in the same time.',
        )}
        ${partTable(title, rows)} ${leftOutOfSplits(rows)}`,
    )}
  </section>`;
}

function leftOutOfSplits(splits: readonly SplitAnswer[]): Html | null {
  const words = splits.flatMap((split) => {
    const text = splitLeftOutText(split);
    return text === null ? [] : [`${SPAN_WORDS[split.span]}: ${text}.`];
  });
  return words.length === 0 ? null : html`<p>${words.join(' ')}</p>`;
}

function partTable(title: string, splits: readonly SplitAnswer[]): Html {
  const amount = (value: number): string => measureText(value, 'mm');
  return table(
    `${title}: parts and their sum`,
    [
      { heading: 'What', kind: 'text' },
      { heading: 'When', kind: 'text' },
      { heading: 'Patients', kind: 'number' },
      { heading: 'Mean', kind: 'number' },
      { heading: 'Limits', kind: 'number' },
      { heading: 'Untreated', kind: 'number' },
      { heading: 'Beyond untreated', kind: 'number' },
    ],
    splits.flatMap(({ span, n, whole, parts }) =>
      (whole === null ? [] : [whole, ...parts]).map(({ name, mean, limits, untreated, beyondUntreated }) => [
        name,
        SPAN_WORDS[span],
        n,
        amount(mean),
        limits === null ? '–' : `${amount(limits.lower)} to ${amount(limits.upper)}`,
        untreated === null ? '–' : `${amount(untreated.mean)} (${untreated.n})`,
        beyondUntreated === null
          ? '–'
          : `${amount(beyondUntreated.estimate)} (${amount(beyondUntreated.limits.lower)} to ${amount(beyondUntreated.limits.upper)})`,
      ]),
    ),
  );
}

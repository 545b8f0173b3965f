import { NOT_SEEN_WORDS, percentText } from '@longhold/core/answers';
import { shownCountText, WITHHELD, type ViewedFlowYear } from '@longhold/core/pooled';
import { html, table, type Column, type Html } from '../html';
import type { PoolOfMeasure } from './pool-of-measure';
import { MANY_CENTRES } from './pool-quantities';
import { centreNamer } from './pool-words';

const COLUMNS: readonly Column[] = [
  { heading: 'Could be seen', kind: 'number' },
  { heading: 'Were seen', kind: 'number' },
  { heading: 'Were measured', kind: 'number' },
  { heading: 'Not seen, by reason', kind: 'text' },
];

/** Who was seen in each year, in the pool and in each centre that may be shown. */
export function flowSection(pool: PoolOfMeasure): Html | null {
  const { flow, flowByCentre } = pool.measure;
  if (flow.length === 0) return null;
  const nameOf = centreNamer(pool);
  const many = flowByCentre.length > MANY_CENTRES;
  return html`<h3>Who is missing from the pool</h3>
    ${table(
      'Flow of all centres together, by year',
      [{ heading: 'Year', kind: 'text' }, ...COLUMNS],
      flow.map((year) => [String(year.year), ...flowCells(year)]),
    )}
    ${
      flowByCentre.length === 0 || many
        ? null
        : table(
            flowByCentre.length === 1
              ? 'Flow of this clinic in the pool, by year'
              : 'Flow of each centre, by year',
            [{ heading: 'Centre', kind: 'code' }, { heading: 'Year', kind: 'number' }, ...COLUMNS],
            flowByCentre.flatMap(({ centre, flow: own }) =>
              own.map((year) => [nameOf(centre), String(year.year), ...flowCells(year)]),
            ),
          )
    }
    ${many ? html`<p class="about">The flow of each of the ${flowByCentre.length} centres is in results.json.</p>` : null}`;
}

function flowCells({ eligible, seen, measured, notSeen }: ViewedFlowYear): string[] {
  return [
    shownCountText(eligible),
    eligible === null || seen === null || eligible === 0
      ? shownCountText(seen)
      : `${shownCountText(seen)} (${percentText(seen / eligible)})`,
    shownCountText(measured),
    reasonsText(notSeen),
  ];
}

/** Reasons that hold somebody; those that are withheld are named together. */
function reasonsText(notSeen: ViewedFlowYear['notSeen']): string {
  const shown: string[] = [];
  const withheld: string[] = [];
  for (const [reason, words] of Object.entries(NOT_SEEN_WORDS)) {
    const count = Object.entries(notSeen).find(([name]) => name === reason)?.[1] ?? null;
    if (count === null) withheld.push(words.toLowerCase());
    else if (count > 0) shown.push(`${words.toLowerCase()} ${count}`);
  }
  const parts = [
    ...(shown.length === 0 ? [] : [shown.join(', ')]),
    ...(withheld.length === 0 ? [] : [`${WITHHELD.toLowerCase()}: ${withheld.join(', ')}`]),
  ];
  return parts.length === 0 ? '–' : parts.join('; ');
}

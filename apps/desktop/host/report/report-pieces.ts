import { pText, type TestedEstimate } from '@longhold/core/answers';
import { chartSvg } from '@longhold/ui/figures';
import { figureMarkup, html, type Html } from './html';

type ChartModel = Parameters<typeof chartSvg>[0];

/** A chart with its title and what has to be known to read it. */
export function figure(model: ChartModel, title: string, caption: string): Html {
  return html`<figure>
    ${figureMarkup(chartSvg(model, { title, note: '' }))}
    <figcaption>${caption}</figcaption>
  </figure>`;
}

/** What stands in place of a number that the data do not fix. */
export const NOT_FIXED = 'not fixed by the data';

/** An estimate with its limits and, where there is one, the p of its test. */
export function testedText(
  { estimate, limits, p }: TestedEstimate,
  write: (value: number) => string,
): string {
  if (limits === null) return NOT_FIXED;
  const test = p === null ? '' : `; p ${pText(p)}`;
  return `${write(estimate)} (${write(limits.lower)} to ${write(limits.upper)}${test})`;
}

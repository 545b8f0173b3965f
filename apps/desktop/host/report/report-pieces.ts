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

/** An estimate with its limits and p value. */
export function testedText(
  { estimate, limits, p }: TestedEstimate,
  write: (value: number) => string,
): string {
  if (limits === null) return 'not fixed by the data';
  const test = p === null ? '' : `; p ${pText(p)}`;
  return `${write(estimate)} (${write(limits.lower)} to ${write(limits.upper)}${test})`;
}

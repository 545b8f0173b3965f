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

import { chartSvg } from '@longhold/ui/figures';
import { figureMarkup, html, type Html } from './html';

type ChartModel = Parameters<typeof chartSvg>[0];

/** A drawn figure with its title, for those who cannot see it, and a caption. */
export function figure(model: ChartModel, title: string, caption: string): Html {
  return html`<figure>
    ${figureMarkup(chartSvg(model, { title, note: '' }))}
    <figcaption>${caption}</figcaption>
  </figure>`;
}

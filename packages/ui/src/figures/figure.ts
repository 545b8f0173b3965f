/** What a reader who cannot see the figure is told. */
export interface FigureWords {
  readonly title: string;
  readonly description: string;
}

/** Shades that stay apart in grey and in print; text and lines are dark on white. */
export const INK = {
  line: '#16324a',
  second: '#5a6772',
  band: '#dde4ea',
  undefinedBox: '#93a9ba',
  guide: '#9aa5ad',
} as const;

export const FIGURE_WIDTH = 720;
export const FONT_SIZE = 13;

const SVG_NAMESPACE = 'http://www.w3.org/2000/svg';

/**
 * The plotted figure as SVG text, with title and description for assistive technology. The style sheet and the
 * class that Plot adds are taken out: a strict content policy would refuse the one, and nothing needs the other.
 */
export function figureText(plotted: Element, document: Document, words: FigureWords): string {
  plotted.querySelector('style')?.remove();
  plotted.removeAttribute('class');
  plotted.setAttribute('xmlns', SVG_NAMESPACE);
  plotted.setAttribute('role', 'img');
  const title = svgElement(document, 'title');
  title.textContent = words.title;
  const description = svgElement(document, 'desc');
  description.textContent = words.description;
  plotted.prepend(title, description);
  return plotted.outerHTML;
}

/** An SVG element with attributes. */
export function svgElement(
  document: Document,
  name: string,
  attributes: Readonly<Record<string, string | number>> = {},
): SVGElement {
  const element = document.createElementNS(SVG_NAMESPACE, name) as SVGElement;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  return element;
}

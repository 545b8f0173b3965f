/** Markup that is known to be safe: made by `html`, or drawn by our own figures. */
export interface Html {
  readonly markup: string;
}

type Content = string | number | Html | null | readonly Content[];

/** Builds markup from a template; every text put into it is escaped, every piece of markup stays as it is. */
export function html(template: TemplateStringsArray, ...contents: Content[]): Html {
  const markup = template.reduce((text, part, index) => text + part + textOf(contents[index] ?? null), '');
  return { markup };
}

/** Takes a figure over as it is. Only for SVG text that our own figure functions made. */
export function figureMarkup(svg: string): Html {
  return { markup: svg };
}

/**
 * A column of a table. Numbers align right; codes are never broken over lines, and numbers only in print. A result is a
 * number with its limits, which may stand on two lines anywhere.
 */
export interface Column {
  readonly heading: string;
  readonly kind: 'text' | 'number' | 'result' | 'code';
}

/** Tables of no more rows than this are kept on one page in print. */
const ON_ONE_PAGE = 24;

/** A table with column headings; the first cell of each row heads the row. */
export function table(
  caption: string,
  columns: readonly Column[],
  rows: readonly (readonly Content[])[],
): Html {
  const side = (index: number): string => columns[index]?.kind ?? 'text';
  const cellOf = (cell: Content, index: number): Content => {
    if (typeof cell !== 'string') return cell;
    if (side(index) === 'number') return unbroken(cell);
    return side(index) === 'result' ? brokenBeforeLimits(cell) : cell;
  };
  return html`<div class="${rows.length <= ON_ONE_PAGE ? 'wide short' : 'wide'}">
    <table>
      <caption>
        ${caption}
      </caption>
      <thead>
        <tr>
          ${columns.map(({ heading, kind }) => html`<th scope="col" class="${kind}">${heading}</th>`)}
        </tr>
      </thead>
      <tbody>
        ${rows.map(
          ([first, ...others]) =>
            html`<tr>
              <th scope="row" class="${side(0)}">${first ?? null}</th>
              ${others.map((cell, index) => html`<td class="${side(index + 1)}">${cellOf(cell, index + 1)}</td>`)}
            </tr>`,
        )}
      </tbody>
    </table>
  </div>`;
}

/** A number is never parted from its unit, nor a p value from its sign, where a cell needs two lines. */
function unbroken(text: string): string {
  return text.replace(/ (?=(?:mm|%|°|deg)(?:\W|$))|(?<=[<=>]) |(?<=\bp) /g, '\u00a0');
}

/** Longer pieces than this may be broken anywhere: a table must not grow wider than its page. */
const LONGEST_PIECE = 20;

/** A result is broken before its brackets and not within them, unless they are long. */
function brokenBeforeLimits(text: string): string {
  return text.replace(/\([^()]*\)|^[^()]*$/g, (piece) =>
    piece.length > LONGEST_PIECE
      ? unbroken(piece.replaceAll('\u00a0', ' '))
      : piece.replaceAll(' ', '\u00a0'),
  );
}

function textOf(content: Content): string {
  if (content === null) return '';
  if (typeof content === 'number') return String(content);
  if (typeof content === 'string') return escapeText(content);
  if ('markup' in content) return content.markup;
  return content.map(textOf).join('');
}

const ESCAPES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};

function escapeText(text: string): string {
  return text.replace(/[&<>"']/g, (character) => ESCAPES[character] ?? '');
}

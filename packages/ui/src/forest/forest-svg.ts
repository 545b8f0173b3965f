import { FONTS, keySvg, wrap, type FigureWords } from '../charts/chart-svg';
import { escapeText, PRINT, svgText } from '../charts/svg-layers';
import { drawForest, type ForestPiece } from './forest-drawing';
import { forestPoints, type ForestModel } from './forest-model';

const WIDTH = 860;
const MARGIN = 8;

/** A forest plot as SVG text for print, with title, key and a line that says where it comes from. */
export function forestSvg(model: ForestModel, { title, note }: FigureWords): string {
  const drawing = drawForest(model, WIDTH - 2 * MARGIN);
  const titleLines = wrap(title, 88);
  const noteLines = wrap(note, 126);
  const top = 18 + titleLines.length * 18;
  const keyTop = top + drawing.height + 8;
  const noteTop = keyTop + model.key.length * 20 + 16;
  const height = noteTop + noteLines.length * 15 + 6;
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" role="img" width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}" font-family="${FONTS}" font-size="13" fill="${PRINT.ink}">`,
    `<title>${escapeText(title)}</title>`,
    `<desc>${escapeText(
      forestPoints(model)
        .map(({ text }) => text)
        .join(' '),
    )}</desc>`,
    `<rect width="${WIDTH}" height="${height}" fill="#ffffff"/>`,
    ...titleLines.map((line, i) =>
      svgText(MARGIN, 22 + i * 18, line, 'start', 'font-weight="600" font-size="15"'),
    ),
    `<g transform="translate(${MARGIN} ${top})">`,
    ...drawing.pieces.map(pieceSvg),
    '</g>',
    ...model.key.map((entry, i) => keySvg(entry, 12, keyTop + i * 20)),
    ...noteLines.map((line, i) =>
      svgText(MARGIN, noteTop + i * 15, line, 'start', `font-size="11" fill="${PRINT.quiet}"`),
    ),
    '</svg>',
  ].join('\n');
}

function pieceSvg(piece: ForestPiece): string {
  if (piece.kind === 'words') {
    const weight = piece.bold ? ' font-weight="650"' : '';
    return svgText(piece.x, piece.y, piece.words, piece.anchor, `fill="${PRINT[piece.tone]}"${weight}`);
  }
  const dash = piece.dash === undefined ? '' : ` stroke-dasharray="${piece.dash}"`;
  const fill = piece.filled ? PRINT[piece.tone] : 'none';
  return `<path d="${piece.d}" fill="${fill}" stroke="${PRINT[piece.tone]}" stroke-width="${piece.width}"${dash}/>`;
}

import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { DEMO_MEASURES, errorSd, filmErrorSd, retracingSd } from './index';
import { RESPONSES } from './measure-model';
import { CLINICS, DEMO_TODAY, GROWTH_CURVE, PROTOCOL_CODES, PROTOCOLS } from './parameters';

const page = readFileSync(new URL('../../docs/demo.md', import.meta.url), 'utf8');

/** Cells of the table row that begins with this cell. */
function row(first: string): string[] | undefined {
  const line = page.split('\n').find((text) => text.startsWith(`| ${first} `));
  return line
    ?.split('|')
    .slice(1, -1)
    .map((cell) => cell.trim());
}

const percent = (share: number): string => `${Math.round(share * 100)} %`;

describe('the page that explains the invented study', () => {
  it('states the growth curve that is drawn from', () => {
    for (const sex of ['female', 'male'] as const) {
      const { sizeAt8, base, endAge, endWidth, spurt, peakAge, peakWidth } = GROWTH_CURVE[sex];
      expect(row(sex)?.slice(1).map(Number)).toEqual([
        sizeAt8,
        base,
        endAge,
        endWidth,
        spurt,
        peakAge,
        peakWidth,
      ]);
    }
  });

  it('states what each protocol does', () => {
    for (const code of PROTOCOL_CODES) {
      const model = PROTOCOLS[code];
      const spread = ({ mean, sd }: { mean: number; sd: number }): string =>
        `${mean.toFixed(1)} (${sd.toFixed(1)})`;
      expect(row(code)?.slice(1)).toEqual([
        spread(model.lasting),
        spread(model.forward),
        spread(model.upperTeethBack),
        spread(model.lowerTeethForward),
        percent(model.expansion),
      ]);
    }
  });

  it('states the mix of each clinic', () => {
    for (const { name, letter, share, protocols, films } of CLINICS) {
      expect(row(name)?.slice(1)).toEqual([
        letter,
        percent(share),
        ...PROTOCOL_CODES.map((p) => percent(protocols[p])),
        String(films.filmFactor),
      ]);
    }
  });

  it('states how every measure responds and how well it is read', () => {
    const responses = new Map(Object.entries(RESPONSES));
    for (const measure of DEMO_MEASURES) {
      const cells = row(measure);
      expect(cells?.slice(3)).toEqual(
        [errorSd, retracingSd, filmErrorSd].map((sdOf) => sdOf(measure).toFixed(2)),
      );
      const response = responses.get(measure);
      if (response !== undefined)
        expect(cells?.slice(1, 3).map(Number)).toEqual([response.growth, response.effect]);
    }
  });

  it('states the day of reading', () => {
    expect(page).toContain(`fixed at ${DEMO_TODAY}`);
  });
});

import { describe, expect, it } from 'vitest';
import { filmErrorComponents, methodErrorInForce, type MethodErrorInForce } from '../agreement';
import { findMeasure } from '../measures';
import { isRefusal } from '../numeric';
import { filmErrorLeftOut, methodErrorWords } from './method-error-words';

function noRecords(code: string): MethodErrorInForce {
  const measure = findMeasure(code);
  if (measure === undefined) throw new Error(code);
  return methodErrorInForce([], measure);
}

/** So many visits with two films that read 1 mm apart; the first of them was read twice. */
function secondFilms(visits: number) {
  const rows = Array.from({ length: visits }, (_, i) => [
    { visit: i, film: 1, value: 100 },
    { visit: i, film: 1, value: 100.2 },
    { visit: i, film: 2, value: 101.1 },
  ]).flat();
  const found = filmErrorComponents({
    visit: rows.map(({ visit }) => visit),
    film: rows.map(({ film }) => film),
    value: rows.map(({ value }) => value),
  });
  if (isRefusal(found)) throw new Error(found.message);
  return found;
}

describe('the method error in words', () => {
  it('names defaults as such, with their source, and says what is left out', () => {
    const { whole, retracing, films } = methodErrorWords(noRecords('Co-Gn'), 'mm');
    expect(whole).toBe('1.20 mm for one film read once.');
    expect(retracing).toContain('1.20 mm, a default, because there are no duplicates');
    expect(retracing).toContain('(from memory.)');
    expect(films).toContain('not known and left out, because there are no second films');
  });

  it('gives the published part between films of SNA with its source', () => {
    const { whole, films } = methodErrorWords(noRecords('SNA'), 'deg');
    expect(whole).toBe('1.31° for one film read once.');
    expect(films).toMatch(/1\.04°, a default.*100 adults.*\(published\.\)/);
  });

  it('speaks of no films for what is read at the chair', () => {
    const { whole, retracing, films } = methodErrorWords(noRecords('overjet'), 'mm');
    expect(whole).toBe('0.40 mm for one reading.');
    expect(retracing).toMatch(/^Of reading: /);
    expect(films).toBe('This measure is not read on films.');
  });

  it('counts own second films and gives limits', () => {
    const own = secondFilms(30);
    const error: MethodErrorInForce = {
      ...noRecords('Co-Gn'),
      films: { sd: 0.7, source: 'second-films', own, provenance: null },
    };
    expect(methodErrorWords(error, 'mm').films).toMatch(
      /^Between films of one visit: 0\.70 mm, from 30 second films \(with retracings 90 readings of 60 films\) in these records \(95\u00a0% limits 0\.\d\d mm to \d\.\d\d mm\)\.$/,
    );
  });

  it('says of few second films how many there are and how many it takes', () => {
    const error: MethodErrorInForce = {
      ...noRecords('Co-Gn'),
      films: { sd: 0, source: 'not-known', own: secondFilms(1), provenance: null },
    };
    expect(methodErrorWords(error, 'mm').films).toContain('there is 1 second film in these records, and 25');
  });

  it('says where the left-out part goes: into growth with an own series, nowhere with a table', () => {
    const series = {
      kind: 'untreated-series',
      series: [],
      degreesOfFreedom: 1,
      rateSd: 1,
      residualSd: 1,
    } as const;
    expect(filmErrorLeftOut(series)).toContain('counted as their own growth');
    expect(filmErrorLeftOut({ kind: 'not-needed' })).toContain('every limit of a single patient');
  });
});

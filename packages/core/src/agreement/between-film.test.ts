import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal } from '../numeric';
import { filmErrorComponents, type FilmErrorComponents, type FilmReadings } from './between-film';

interface Row {
  readonly visit: string;
  readonly film: number;
  readonly value: number;
}

function columns(rows: readonly Row[]): FilmReadings {
  return {
    visit: rows.map(({ visit }) => visit),
    film: rows.map(({ film }) => film),
    value: rows.map(({ value }) => value),
  };
}

function components(rows: readonly Row[]): FilmErrorComponents {
  const found = filmErrorComponents(columns(rows));
  if (isRefusal(found)) throw new Error(found.message);
  return found;
}

/** Visits whose films are read as often as the list says, with a true value of their own. */
function drawn(
  visits: number,
  readings: readonly number[],
  sd: { film: number; retracing: number },
  seed: number,
) {
  const random = createRandom(seed);
  return Array.from({ length: visits }, (_, v) => {
    const truth = 110 + 8 * random.normal();
    return readings.flatMap((times, film) => {
      const onFilm = truth + sd.film * random.normal();
      return Array.from({ length: times }, () => ({
        visit: `${v}`,
        film,
        value: onFilm + sd.retracing * random.normal(),
      }));
    });
  }).flat();
}

describe('error between films told apart from retracing', () => {
  // By hand: film means 1 and 4 about 2.5 give a mean square of 4.5; within films 2 and 0 give 2 on 2 degrees of freedom.
  it('is the mean square of film means less the retracing that is in them', () => {
    const found = components([
      { visit: 'a', film: 1, value: 0 },
      { visit: 'a', film: 1, value: 2 },
      { visit: 'a', film: 2, value: 4 },
      { visit: 'a', film: 2, value: 4 },
    ]);
    expect(found).toMatchObject({ visits: 1, visitsWithFilms: 1, films: 2, readings: 4, df: 1 });
    expect(found.retracing).toMatchObject({ sd: 1, df: 2 });
    expect(found.filmMeanSquare).toBeCloseTo(4.5, 12);
    expect(found.retracingShare).toBe(0.5);
    expect(found.betweenFilms?.variance).toBeCloseTo(4.5 - 0.5, 12);
    expect(found.whole.sd).toBeCloseTo(Math.sqrt(4 + 1), 12);
  });

  it('finds both planted parts again where films are read unequally often', () => {
    const rows = [
      ...drawn(3000, [2, 1], { film: 0.9, retracing: 0.6 }, 5),
      ...drawn(3000, [1, 1, 3], { film: 0.9, retracing: 0.6 }, 6).map((row) => ({
        ...row,
        visit: `more ${row.visit}`,
      })),
    ];
    const found = components(rows);
    expect(found.betweenFilms?.sd).toBeCloseTo(0.9, 1);
    expect(found.retracing?.sd).toBeCloseTo(0.6, 1);
    expect(found.whole.sd).toBeCloseTo(Math.hypot(0.9, 0.6), 1);
  });

  it('does not depend on the true values of the visits, nor on visits with a single reading', () => {
    const rows = drawn(12, [2, 1], { film: 1, retracing: 0.5 }, 7);
    const moved = rows.map((row) => ({ ...row, value: row.value + 20 * Number(row.visit) }));
    const alone = [...moved, { visit: 'alone', film: 1, value: 500 }];
    expect(components(alone).betweenFilms?.variance).toBeCloseTo(
      components(rows).betweenFilms?.variance ?? NaN,
      9,
    );
  });

  it('has a lower limit of 0 just where the F test would not reject equal films', () => {
    const rejected = [1, 2, 3, 4, 5, 6, 7, 8].map((seed) => {
      const found = components(drawn(15, [2, 2], { film: 0.3, retracing: 0.6 }, seed));
      // 15 and 30 degrees of freedom: the upper 2.5 % point of F is 2.31 in printed tables, from memory.
      const ratio = (2 * found.filmMeanSquare) / (found.retracing?.sd ?? NaN) ** 2;
      expect((found.betweenFilms?.limits.lower ?? NaN) > 0).toBe(ratio > 2.31);
      return ratio > 2.31;
    });
    expect(new Set(rejected).size).toBe(2);
  });

  it('is an SD of 0 with an upper limit, where films differ less than retracing makes them', () => {
    const { betweenFilms } = components([
      { visit: 'a', film: 1, value: 0 },
      { visit: 'a', film: 1, value: 2 },
      { visit: 'a', film: 2, value: 2 },
      { visit: 'a', film: 2, value: 0 },
      { visit: 'b', film: 1, value: 5 },
      { visit: 'b', film: 2, value: 5.5 },
    ]);
    expect(betweenFilms?.variance).toBeLessThan(0);
    expect(betweenFilms?.sd).toBe(0);
    expect(betweenFilms?.limits.upper).toBeGreaterThan(0.5);
  });

  it('gives the whole error alone where no film was read twice', () => {
    const found = components(drawn(40, [1, 1], { film: 0.9, retracing: 0.6 }, 8));
    expect(found.retracing).toBeNull();
    expect(found.betweenFilms).toBeNull();
    expect(found.whole.limits.lower).toBeLessThan(Math.hypot(0.9, 0.6));
    expect(found.whole.limits.upper).toBeGreaterThan(Math.hypot(0.9, 0.6));
  });

  it.each([
    ['no visit has two films', 'no-second-films', drawn(5, [3], { film: 1, retracing: 1 }, 1)],
    ['all readings agree', 'no-variation', drawn(5, [2, 2], { film: 0, retracing: 0 }, 1)],
    ['a reading is no number', 'wrong-value', [{ visit: 'a', film: 1, value: NaN }]],
  ])('is refused where %s', (_, code, rows) => {
    expect(filmErrorComponents(columns(rows))).toMatchObject({ refused: code });
  });
});

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal } from '../../numeric';
import { concordance, coxResiduals, fitCox, type CoxData, type CoxFit, type CoxTies } from '.';

interface Rows {
  readonly time: number[];
  readonly event: number[];
  readonly entry: number[];
  readonly weights: number[];
  readonly strata: number[];
  readonly x: number[];
  readonly z: number[];
}

const row = fc.record({
  time: fc.integer({ min: 2, max: 12 }),
  event: fc.integer({ min: 0, max: 1 }),
  early: fc.integer({ min: 1, max: 12 }),
  weights: fc.integer({ min: 1, max: 3 }),
  strata: fc.integer({ min: 1, max: 2 }),
  x: fc.integer({ min: -2, max: 2 }),
  z: fc.integer({ min: 0, max: 1 }),
});

const rows = (minLength: number): fc.Arbitrary<Rows> =>
  fc.array(row, { minLength, maxLength: 30 }).map((list) => ({
    time: list.map(({ time }) => time),
    event: list.map(({ event }) => event),
    entry: list.map(({ time, early }) => Math.max(0, time - early)),
    weights: list.map(({ weights }) => weights),
    strata: list.map(({ strata }) => strata),
    x: list.map(({ x }) => x),
    z: list.map(({ z }) => z),
  }));

const anyTies = fc.constantFrom<CoxTies>('efron', 'breslow');

function dataOf(drawn: Rows): CoxData {
  const { x, z, ...columns } = drawn;
  return {
    ...columns,
    covariates: [
      { kind: 'numeric', name: 'x', values: x },
      { kind: 'numeric', name: 'z', values: z },
    ],
  };
}

function fitOrNull(data: CoxData, ties: CoxTies): CoxFit | null {
  const fit = fitCox(data, { ties });
  return isRefusal(fit) ? null : fit;
}

const estimates = (fit: CoxFit | null): number[] =>
  fit?.coefficients.map(({ estimate }) => estimate ?? NaN) ?? [];

/** The partial likelihood by its definition, one risk set looked up after the other. */
function slowLogLikelihood(drawn: Rows, [a = 0, b = 0]: readonly number[], ties: CoxTies): number {
  const places = drawn.time.map((_, i) => i);
  const risk = (i: number): number =>
    (drawn.weights[i] ?? 0) * Math.exp(a * (drawn.x[i] ?? 0) + b * (drawn.z[i] ?? 0));
  const sum = (list: readonly number[], of: (i: number) => number): number =>
    list.reduce((s, i) => s + of(i), 0);
  let logLikelihood = 0;
  for (const stratum of [1, 2]) {
    for (const time of new Set(drawn.time)) {
      const here = places.filter((i) => drawn.strata[i] === stratum);
      const events = here.filter((i) => drawn.time[i] === time && drawn.event[i] === 1);
      const atRisk = here.filter((i) => (drawn.entry[i] ?? 0) < time && (drawn.time[i] ?? 0) >= time);
      const weight = sum(events, (i) => drawn.weights[i] ?? 0);
      logLikelihood += sum(
        events,
        (i) => (drawn.weights[i] ?? 0) * (a * (drawn.x[i] ?? 0) + b * (drawn.z[i] ?? 0)),
      );
      events.forEach((_, part) => {
        const removed = ties === 'efron' ? part / events.length : 0;
        logLikelihood -= (weight / events.length) * Math.log(sum(atRisk, risk) - removed * sum(events, risk));
      });
    }
  }
  return logLikelihood;
}

describe('Cox regression of any rows', () => {
  it('has the likelihood of its definition, and no place nearby is higher', () => {
    let seen = 0;
    fc.assert(
      fc.property(rows(8), anyTies, (drawn, ties) => {
        const fit = fitOrNull(dataOf(drawn), ties);
        if (fit === null || fit.warning !== null) return;
        seen++;
        const at = estimates(fit);
        const tolerance = 1e-9 * (1 + Math.abs(fit.logLikelihood));
        expect(Math.abs(fit.logLikelihood - slowLogLikelihood(drawn, at, ties))).toBeLessThan(tolerance);
        for (const [da, db] of [
          [0.01, 0],
          [-0.01, 0],
          [0, 0.01],
          [0, -0.01],
        ] as const) {
          const nearby = slowLogLikelihood(drawn, [(at[0] ?? 0) + da, (at[1] ?? 0) + db], ties);
          expect(nearby).toBeLessThan(fit.logLikelihood + tolerance);
        }
      }),
      { numRuns: 200, seed: 11 },
    );
    expect(seen).toBeGreaterThan(100);
  });

  it('either finds a maximum or flags coefficients as infinite, and then the likelihood does only rise along them', () => {
    let flagged = 0;
    fc.assert(
      fc.property(rows(3), anyTies, (drawn, ties) => {
        const fit = fitCox(dataOf(drawn), { ties });
        if (isRefusal(fit)) {
          expect(['no-events', 'dependent-columns', 'no-information']).toContain(fit.refused);
          return;
        }
        const { coefficients, direction } = fit.model.maximum;
        if (direction === null) {
          expect(fit.model.maximum.converged).toBe(true);
          expect(fit.coefficients.every(({ standardError }) => (standardError ?? 0) > 0)).toBe(true);
          return;
        }
        flagged++;
        // Further along the direction, on the caller's scale, the likelihood is as high and no higher.
        const { scale } = fit.model.sorted;
        const along = (distance: number): number =>
          slowLogLikelihood(
            drawn,
            [0, 1].map((j) => ((coefficients[j] ?? 0) + distance * (direction[j] ?? 0)) / (scale[j] ?? 1)),
            ties,
          );
        const limit = along(30);
        expect(Math.abs(limit - fit.logLikelihood)).toBeLessThan(1e-8);
        for (const nearer of [-3, -2, -1]) expect(along(nearer)).toBeLessThan(limit + 1e-12);
        expect(along(-3)).toBeLessThan(limit);
      }),
      { numRuns: 1000, seed: 12 },
    );
    expect(flagged).toBeGreaterThan(50);
  });

  it('does not depend on the order of the rows', () => {
    fc.assert(
      fc.property(rows(10), anyTies, fc.integer({ min: 1, max: 9 }), (drawn, ties, by) => {
        const turn = (values: number[]): number[] => [...values.slice(by), ...values.slice(0, by)];
        const turned: Rows = {
          time: turn(drawn.time),
          event: turn(drawn.event),
          entry: turn(drawn.entry),
          weights: turn(drawn.weights),
          strata: turn(drawn.strata),
          x: turn(drawn.x),
          z: turn(drawn.z),
        };
        expectSame(fitOrNull(dataOf(turned), ties), fitOrNull(dataOf(drawn), ties), [1, 1]);
      }),
      { numRuns: 100, seed: 13 },
    );
  });

  it('knows the times by their order only, and follows the unit and the zero of a covariate', () => {
    fc.assert(
      fc.property(rows(10), anyTies, (drawn, ties) => {
        const bent: Rows = {
          ...drawn,
          time: drawn.time.map((time) => time ** 3),
          entry: drawn.entry.map((entry) => entry ** 3),
          x: drawn.x.map((x) => 2000 + 10 * x),
        };
        expectSame(fitOrNull(dataOf(bent), ties), fitOrNull(dataOf(drawn), ties), [10, 1]);
      }),
      { numRuns: 100, seed: 14 },
    );
  });

  it('is the same when a row is cut into two stretches of time', () => {
    fc.assert(
      fc.property(rows(10), anyTies, (drawn, ties) => {
        const middle = (i: number): number => ((drawn.entry[i] ?? 0) + (drawn.time[i] ?? 0)) / 2;
        const cut: Rows = {
          time: [...drawn.time.map((_, i) => middle(i)), ...drawn.time],
          event: [...drawn.event.map(() => 0), ...drawn.event],
          entry: [...drawn.entry, ...drawn.entry.map((_, i) => middle(i))],
          weights: [...drawn.weights, ...drawn.weights],
          strata: [...drawn.strata, ...drawn.strata],
          x: [...drawn.x, ...drawn.x],
          z: [...drawn.z, ...drawn.z],
        };
        expectSame(fitOrNull(dataOf(cut), ties), fitOrNull(dataOf(drawn), ties), [1, 1]);
      }),
      { numRuns: 100, seed: 15 },
    );
  });

  it('takes a weight for repeated rows where tied events are not told apart', () => {
    fc.assert(
      fc.property(rows(10), (drawn) => {
        const repeat = (values: number[]): number[] =>
          values.flatMap((value, i) => Array.from({ length: drawn.weights[i] ?? 0 }, () => value));
        const repeated: Rows = {
          time: repeat(drawn.time),
          event: repeat(drawn.event),
          entry: repeat(drawn.entry),
          weights: repeat(drawn.weights.map(() => 1)),
          strata: repeat(drawn.strata),
          x: repeat(drawn.x),
          z: repeat(drawn.z),
        };
        expectSame(fitOrNull(dataOf(repeated), 'breslow'), fitOrNull(dataOf(drawn), 'breslow'), [1, 1]);
      }),
      { numRuns: 100, seed: 16 },
    );
  });

  it('expects as many events in each stratum as were seen, and its score residuals sum to zero', () => {
    fc.assert(
      fc.property(rows(10), anyTies, (drawn, ties) => {
        const fit = fitOrNull(dataOf(drawn), ties);
        const residuals = fit === null ? null : coxResiduals(fit);
        if (residuals === null || isRefusal(residuals)) return;
        for (const stratum of [1, 2]) {
          const excess = drawn.weights.reduce(
            (sum, weight, i) =>
              sum + (drawn.strata[i] === stratum ? weight * (residuals.martingale[i] ?? NaN) : 0),
            0,
          );
          expect(Math.abs(excess)).toBeLessThan(1e-9);
        }
        for (const column of [0, 1]) {
          const sum = drawn.weights.reduce(
            (total, weight, i) => total + weight * (residuals.score[2 * i + column] ?? NaN),
            0,
          );
          expect(Math.abs(sum)).toBeLessThan(1e-7);
        }
      }),
      { numRuns: 100, seed: 17 },
    );
  });

  it('has the concordance of all pairs counted one by one', () => {
    fc.assert(
      fc.property(rows(6), (drawn) => {
        const fit = fitOrNull(dataOf(drawn), 'efron');
        const counted = fit === null ? null : concordance(fit);
        if (fit === null || counted === null || isRefusal(counted)) return;
        const risk = drawn.x.map((x, i) => {
          const [a = 0, b = 0] = fit.model.maximum.coefficients;
          const { centre, scale } = fit.model.sorted;
          const z = drawn.z[i] ?? 0;
          return (
            ((x - (centre[0] ?? 0)) / (scale[0] ?? 1)) * a + ((z - (centre[1] ?? 0)) / (scale[1] ?? 1)) * b
          );
        });
        const pairs = { concordant: 0, discordant: 0, tiedPredictions: 0 };
        drawn.time.forEach((time, i) => {
          if (drawn.event[i] !== 1) return;
          drawn.time.forEach((other, j) => {
            const outlived = other > time || (other === time && drawn.event[j] === 0);
            if (!outlived || drawn.strata[i] !== drawn.strata[j] || (drawn.entry[j] ?? 0) >= time) return;
            const weight = (drawn.weights[i] ?? 0) * (drawn.weights[j] ?? 0);
            const difference = (risk[i] ?? 0) - (risk[j] ?? 0);
            if (difference > 0) pairs.concordant += weight;
            else if (difference < 0) pairs.discordant += weight;
            else pairs.tiedPredictions += weight;
          });
        });
        expect(counted).toMatchObject(pairs);
      }),
      { numRuns: 200, seed: 18 },
    );
  });
});

/** Equal fits, or both refused, or both flagged; `units` multiply the coefficients of the first. */
function expectSame(actual: CoxFit | null, expected: CoxFit | null, units: readonly number[]): void {
  expect(actual === null).toBe(expected === null);
  if (actual === null || expected === null) return;
  expect(actual.coefficients.map(({ infinite }) => infinite)).toEqual(
    expected.coefficients.map(({ infinite }) => infinite),
  );
  expect(Math.abs(actual.logLikelihood - expected.logLikelihood)).toBeLessThan(1e-8);
  expected.coefficients.forEach(({ estimate, standardError }, j) => {
    if (estimate === null || standardError === null) return;
    const unit = units[j] ?? 1;
    const difference = (actual.coefficients[j]?.estimate ?? NaN) * unit - estimate;
    expect(Math.abs(difference)).toBeLessThan(1e-6 * (1 + standardError));
    const errors = (actual.coefficients[j]?.standardError ?? NaN) * unit - standardError;
    expect(Math.abs(errors)).toBeLessThan(1e-6 * (1 + standardError));
  });
}

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { contrasts, fixedEffects, testContrasts } from './fixed-effect-tests';
import { devianceAt, fitLinearMixedModel, fitMixedModel } from './linear-mixed-model';
import { answered, inventedPatients, lines } from './mixed-data.fixture';
import { prepareMixedModel } from './mixed-model';
import type { MixedData } from './model-data';
import { predictMeans } from './predicted-means';
import { fittedValues, predictRandomEffects } from './predictions';
import { profileVarianceComponents } from './variance-profile';

const SEEDS = fc.integer({ min: 1, max: 10_000 });
const RUNS = { numRuns: 25, seed: 7 };

function drawn(seed: number, patients = 25): MixedData {
  const { response, time, label } = inventedPatients(seed, patients);
  return lines(response, time, label);
}

function nested(seed: number): MixedData {
  const { response, time, label, centre } = inventedPatients(seed, 40);
  const data = lines(response, time, label, { slopes: false });
  return { ...data, outer: { factor: 'centre', labels: centre, columns: data.random.columns } };
}

/** Both to within a relative difference. */
function expectNear(actual: number, expected: number, tolerance = 1e-6): void {
  expect(Math.abs(actual - expected)).toBeLessThanOrEqual(tolerance * Math.max(1e-3, Math.abs(expected)));
}

function expectAllNear(actual: ArrayLike<number>, expected: ArrayLike<number>, tolerance = 1e-6): void {
  expect(actual.length).toBe(expected.length);
  Array.from(actual).forEach((value, i) => expectNear(value, expected[i] ?? NaN, tolerance));
}

function reordered(data: MixedData, order: readonly number[]): MixedData {
  const pick = <Value>(values: ArrayLike<Value>): Value[] =>
    order.flatMap((row) => Array.from(values).slice(row, row + 1));
  const columns = (list: MixedData['fixed']): MixedData['fixed'] =>
    list.map(({ name, values }) => ({ name, values: pick(values) }));
  const { random, outer } = data;
  return {
    response: pick(data.response),
    fixed: columns(data.fixed),
    random: { ...random, labels: pick(random.labels), columns: columns(random.columns) },
    ...(outer && { outer: { ...outer, labels: pick(outer.labels), columns: columns(outer.columns) } }),
  };
}

describe('the fit of a linear mixed model', () => {
  it('does not depend on the order of the rows', () => {
    fc.assert(
      fc.property(SEEDS, fc.boolean(), (seed, withCentres) => {
        const data = withCentres ? nested(seed) : drawn(seed);
        const rows = Array.from(data.response, (_, i) => i);
        const shuffled = [...rows].sort((a, b) => ((a * 7919) % 101) - ((b * 7919) % 101));
        const here = answered(fitLinearMixedModel(data));
        const there = answered(fitLinearMixedModel(reordered(data, shuffled)));
        expectNear(there.logLikelihood, here.logLikelihood, 1e-10);
        expectAllNear(there.coefficients, here.coefficients);
      }),
      RUNS,
    );
  });

  it('follows shift and scale of the response, in millionths or millions, degrees of freedom too', () => {
    fc.assert(
      fc.property(SEEDS, fc.constantFrom(1e-6, 0.01, 30, 1e6), (seed, scale) => {
        const data = drawn(seed);
        const shift = 1000 * scale;
        const moved = { ...data, response: Array.from(data.response, (y) => shift + scale * y) };
        const here = answered(fitLinearMixedModel(data));
        const there = answered(fitLinearMixedModel(moved));
        const { responses } = here;
        expectNear(there.logLikelihood, here.logLikelihood - (responses - 2) * Math.log(scale), 1e-8);
        expectNear(there.residualSd / scale, here.residualSd);
        expectNear((there.coefficients[1] ?? NaN) / scale, here.coefficients[1] ?? NaN);
        expectNear((there.coefficients[0] ?? NaN) / scale, 1000 + (here.coefficients[0] ?? NaN));
        const dfs = (of: MixedData, fit: typeof here): number[] =>
          answered(fixedEffects(answered(prepareMixedModel(of)), fit)).map(({ df }) => df ?? NaN);
        expectAllNear(dfs(moved, there), dfs(data, here), 1e-4);
      }),
      RUNS,
    );
  });

  it('does not depend on where time is counted from, a calendar year included', () => {
    fc.assert(
      fc.property(SEEDS, fc.constantFrom(-3, 11, 2000), (seed, shift) => {
        const { response, time, label } = inventedPatients(seed, 25);
        const late = time.map((t) => t + shift);
        const here = answered(fitLinearMixedModel(lines(response, time, label)));
        const there = answered(fitLinearMixedModel(lines(response, late, label)));
        expectNear(there.logLikelihood, here.logLikelihood, 1e-9);
        expectNear(there.coefficients[1] ?? NaN, here.coefficients[1] ?? NaN);
        expectNear(there.residualSd, here.residualSd);
        expectNear(there.randomCovariance[3] ?? NaN, here.randomCovariance[3] ?? NaN);
      }),
      RUNS,
    );
  });

  it('is the same when every patient is there twice, with half the covariance and twice the log-likelihood (ML)', () => {
    fc.assert(
      fc.property(SEEDS, (seed) => {
        const { response, time, label } = inventedPatients(seed, 20);
        const once = answered(fitLinearMixedModel(lines(response, time, label), { criterion: 'ML' }));
        const twin = lines(
          [...response, ...response],
          [...time, ...time],
          [...label, ...label.map((patient) => patient + 1000)],
        );
        const twice = answered(fitLinearMixedModel(twin, { criterion: 'ML' }));
        expectNear(twice.logLikelihood, 2 * once.logLikelihood, 1e-9);
        expectAllNear(twice.coefficients, once.coefficients);
        expectAllNear(
          twice.covariance,
          once.covariance.map((entry) => entry / 2),
          1e-5,
        );
        expectNear(twice.residualSd, once.residualSd, 1e-5);
      }),
      RUNS,
    );
  });

  it('is a minimum of the deviance: no factors nearby or far away are better', () => {
    fc.assert(
      fc.property(
        SEEDS,
        fc.tuple(...[0, 1, 2].map(() => fc.double({ min: -2, max: 2, noNaN: true }))),
        fc.constantFrom(0.001, 0.1, 1, 10),
        (seed, direction, reach) => {
          const model = answered(prepareMixedModel(drawn(seed)));
          const fit = answered(fitMixedModel(model));
          const moved = fit.relativeFactor.map((entry, i) => entry + reach * (direction[i] ?? 0));
          const deviance = devianceAt(model, 'REML', moved) ?? Infinity;
          expect(deviance).toBeGreaterThanOrEqual(-2 * fit.logLikelihood - 1e-8);
        },
      ),
      { numRuns: 60, seed: 7 },
    );
  });

  it('takes weights of one, and equal known variances, for what they are', () => {
    const data = drawn(11);
    const ones = Array.from(data.response, () => 1);
    const plain = answered(fitLinearMixedModel(data));
    const weighted = answered(fitLinearMixedModel({ ...data, residual: { weights: ones } }));
    expect(weighted.logLikelihood).toBeCloseTo(plain.logLikelihood, 10);
    const known = answered(fitLinearMixedModel({ ...data, residual: { standardDeviation: 1.3 } }));
    const variances = { variances: ones.map(() => 1.69) };
    const each = answered(fitLinearMixedModel({ ...data, residual: variances }));
    expect(each.logLikelihood).toBeCloseTo(known.logLikelihood, 8);
    expectAllNear(each.randomCovariance, known.randomCovariance, 1e-5);
    // The estimated residual standard deviation, given as known, leaves the fit where it was.
    const again = answered(
      fitLinearMixedModel({ ...data, residual: { standardDeviation: plain.residualSd } }),
    );
    expectNear(again.logLikelihood, plain.logLikelihood, 1e-10);
    expectAllNear(again.randomCovariance, plain.randomCovariance, 1e-5);
  });
});

describe('tests of fixed effects', () => {
  it('are the paired t test for two visits a patient', () => {
    const first = [10.1, 12.3, 9.7, 11.8, 13.4, 10.9, 12.0];
    const gain = [0.4, 1.1, 0.2, 0.9, 0.7, 1.5, 0.1];
    const data = lines(
      first.flatMap((y, i) => [y, y + (gain[i] ?? NaN)]),
      first.flatMap(() => [0, 1]),
      first.flatMap((_, i) => [i, i]),
      { slopes: false },
    );
    const model = answered(prepareMixedModel(data));
    const effect = answered(fixedEffects(model, answered(fitMixedModel(model))))[1];
    const mean = gain.reduce((sum, d) => sum + d, 0) / 7;
    const error = Math.sqrt(gain.reduce((sum, d) => sum + (d - mean) ** 2, 0) / 6 / 7);
    expectNear(effect?.estimate ?? NaN, mean, 1e-9);
    expectNear(effect?.standardError ?? NaN, error, 1e-7);
    expectNear(effect?.df ?? NaN, 6, 1e-6);
  });

  it('are the same as F with one row, and F does not change with the scale of a row', () => {
    fc.assert(
      fc.property(SEEDS, (seed) => {
        const model = answered(prepareMixedModel(drawn(seed)));
        const fit = answered(fitMixedModel(model));
        const one = answered(contrasts(model, fit, [{ name: 'late', weights: [1, 5] }]))[0];
        const joint = answered(testContrasts(model, fit, [[3, 15]]));
        expectNear(joint.f, (one?.t ?? NaN) ** 2, 1e-9);
        expectNear(joint.denominatorDf ?? NaN, one?.df ?? NaN, 1e-9);
        expectNear(joint.p, one?.p ?? NaN, 1e-6);
        const both = answered(
          testContrasts(model, fit, [
            [1, 0],
            [0, 1],
            [2, 7],
          ]),
        );
        expect(both.numeratorDf).toBe(2);
        expectNear(
          both.f,
          answered(
            testContrasts(model, fit, [
              [1, 0],
              [0, 100],
            ]),
          ).f,
          1e-8,
        );
      }),
      RUNS,
    );
  });

  it('use the normal distribution where only known variances stand behind the error', () => {
    // Means closer than the known scatter makes them: the variance between patients is zero, and nothing is estimated.
    const data = {
      ...lines([1, 3.2, 1, 2.8], [0, 1, 0, 1], ['a', 'a', 'b', 'b'], { slopes: false }),
      residual: { standardDeviation: 2 },
    };
    const model = answered(prepareMixedModel(data));
    const effect = answered(fixedEffects(model, answered(fitMixedModel(model))))[1];
    expect(effect?.df).toBeNull();
    expect(effect?.estimate).toBeCloseTo(2, 12);
    expect(effect?.standardError).toBeCloseTo(2, 9);
    expect(effect?.upper).toBeCloseTo(2 + 2 * 1.959963984540054, 8);
  });

  it('refuse contrasts that say nothing', () => {
    const model = answered(prepareMixedModel(drawn(3)));
    const fit = answered(fitMixedModel(model));
    const refused = (value: unknown): unknown =>
      typeof value === 'object' && value !== null && 'refused' in value ? value.refused : value;
    expect(refused(contrasts(model, fit, [{ name: 'x', weights: [1] }]))).toBe('wrong-length');
    expect(refused(contrasts(model, fit, [{ name: 'x', weights: [0, 0] }]))).toBe('zero-contrast');
    expect(refused(contrasts(model, fit, [{ name: 'x', weights: [NaN, 0] }]))).toBe('wrong-value');
    expect(refused(testContrasts(model, fit, []))).toBe('zero-contrast');
    expect(refused(fixedEffects(model, fit, 1))).toBe('wrong-level');
    expect(refused(profileVarianceComponents(model, fit, 0))).toBe('wrong-level');
    expect(refused(predictRandomEffects(model, fit, 95))).toBe('wrong-level');
    const place = { label: 'nobody', fixed: [1, 0], random: [1, 0] };
    expect(refused(predictMeans(model, fit, [place]))).toBe('unknown-group');
    expect(refused(predictMeans(model, fit, [{ ...place, fixed: [1] }]))).toBe('wrong-length');
  });
});

describe('predicted random effects', () => {
  it('sum to zero where the fixed effects hold the same columns', () => {
    fc.assert(
      fc.property(SEEDS, (seed) => {
        const model = answered(prepareMixedModel(drawn(seed)));
        const fit = answered(fitMixedModel(model));
        const { groups } = answered(predictRandomEffects(model, fit));
        for (const effect of [0, 1]) {
          const values = groups.map((group) => group.effects[effect] ?? NaN);
          const size = values.reduce((sum, value) => sum + Math.abs(value), 0);
          expect(Math.abs(values.reduce((sum, value) => sum + value, 0))).toBeLessThan(1e-8 * (1 + size));
        }
      }),
      RUNS,
    );
  });

  it('make the predicted mean at a visit the fitted value there, with and without centres', () => {
    for (const data of [drawn(4), nested(4)]) {
      const model = answered(prepareMixedModel(data));
      const fit = answered(fitMixedModel(model));
      const { fitted } = answered(fittedValues(model, fit));
      const rows = Array.from(data.response, (_, i) => ({
        label: data.random.labels[i] ?? null,
        outerLabel: data.outer?.labels[i] ?? null,
        fixed: data.fixed.map((column) => column.values[i] ?? NaN),
        random: data.random.columns.map((column) => column.values[i] ?? NaN),
        outer: data.outer?.columns.map((column) => column.values[i] ?? NaN) ?? [],
      }));
      const means = answered(predictMeans(model, fit, rows));
      means.forEach((mean, i) => expectNear(mean.value, fitted[i] ?? NaN, 1e-10));
    }
  });

  it('of one patient agree with the mean at time zero, errors included', () => {
    const model = answered(prepareMixedModel(drawn(8)));
    const fit = answered(fitMixedModel(model));
    const unseen = answered(predictMeans(model, fit, [{ label: null, fixed: [1, 0], random: [1, 0] }]))[0];
    const seen = answered(predictMeans(model, fit, [{ label: 0, fixed: [1, 0], random: [1, 0] }]))[0];
    expectNear(unseen?.value ?? NaN, fit.coefficients[0] ?? NaN, 1e-9);
    // For one not seen the error holds the variance of the fixed effect and the whole variance between patients.
    const known = (fit.covariance[0] ?? NaN) + (fit.randomCovariance[0] ?? NaN);
    expectNear((unseen?.standardError ?? NaN) ** 2, known, 0.05);
    expect((unseen?.standardError ?? NaN) ** 2).toBeGreaterThanOrEqual(known * (1 - 1e-9));
    expect(seen?.standardError ?? NaN).toBeLessThan(unseen?.standardError ?? NaN);
    expect(seen?.responseUpper ?? NaN).toBeGreaterThan(seen?.upper ?? NaN);
  });
});

describe('profile limits', () => {
  it('enclose the estimate, stay inside their bounds and widen with the level', () => {
    fc.assert(
      fc.property(SEEDS, (seed) => {
        const model = answered(prepareMixedModel(drawn(seed, 12)));
        const fit = answered(fitMixedModel(model));
        const narrow = answered(profileVarianceComponents(model, fit, 0.8));
        const wide = answered(profileVarianceComponents(model, fit, 0.95));
        narrow.forEach((component, i) => {
          if (component.estimate === null || component.note !== null || wide[i]?.note !== null) return;
          const { estimate } = component;
          const lower = component.lower ?? NaN;
          const upper = component.upper ?? NaN;
          expect(lower).toBeLessThanOrEqual(estimate + 1e-9);
          expect(upper).toBeGreaterThanOrEqual(estimate - 1e-9);
          expect(wide[i]?.lower ?? NaN).toBeLessThanOrEqual(lower + 1e-9);
          expect(wide[i]?.upper ?? NaN).toBeGreaterThanOrEqual(upper - 1e-9);
          if (component.kind === 'correlation')
            expect(Math.max(Math.abs(lower), Math.abs(upper))).toBeLessThanOrEqual(1);
          else expect(lower).toBeGreaterThanOrEqual(0);
        });
      }),
      { numRuns: 12, seed: 7 },
    );
  });

  it('are missing, with the reason, where a correlation is not defined or the residual was given', () => {
    const data = {
      ...lines([1, 2, 3, 1, 2, 3.5, 1, 2, 2.6], [0, 1, 2, 0, 1, 2, 0, 1, 2], [1, 1, 1, 2, 2, 2, 3, 3, 3]),
      residual: { standardDeviation: 2 },
    };
    const model = answered(prepareMixedModel(data));
    const fit = answered(fitMixedModel(model));
    expect(fit.singular).toBe(true);
    const components = answered(profileVarianceComponents(model, fit));
    const correlation = components.find(({ kind }) => kind === 'correlation');
    expect(correlation).toMatchObject({ estimate: null, lower: null, upper: null });
    expect(correlation?.note).toMatch(/not defined/);
    expect(components.at(-1)).toMatchObject({ kind: 'residual', estimate: 2, lower: null });
    expect(components.at(-1)?.note).toMatch(/given/);
    expect(components[0]).toMatchObject({ lower: 0, note: null });
  });
});

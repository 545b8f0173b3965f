import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { isRefusal, type Refusal } from '../numeric';
import { bootstrapRatio } from './bootstrap-ratio';
import { ratioIsIn } from './fieller';
import { independentRatio, pairedRatio, type RatioOfMeans } from './ratio-of-means';

const now = [4.1, 3.2, 5.0, 2.7, 3.9, 4.4, 1.8, 3.1];
const then = [5.0, 4.4, 5.6, 3.9, 4.8, 4.7, 3.5, 4.1];

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

const columns = fc
  .array(
    fc.tuple(fc.double({ min: 0.5, max: 9, noNaN: true }), fc.double({ min: 0.5, max: 9, noNaN: true })),
    { minLength: 3, maxLength: 20 },
  )
  .map((rows) => ({ numerator: rows.map(([a]) => a), denominator: rows.map(([, b]) => b) }));

function numbersOf({ ratio, delta, logDelta, fieller, denominatorDistance }: RatioOfMeans): number[] {
  const ends =
    fieller.kind === 'bounded' || fieller.kind === 'unbounded' ? [fieller.lower, fieller.upper] : [];
  return [ratio, delta.lower, delta.upper, logDelta?.lower ?? 0, denominatorDistance ?? 0, ...ends];
}

function expectNear(actual: readonly number[], expected: readonly number[]): void {
  expect(actual.length).toBe(expected.length);
  expected.forEach((value, i) => {
    expect(Math.abs((actual[i] ?? NaN) - value)).toBeLessThanOrEqual(1e-7 * Math.max(1, Math.abs(value)));
  });
}

describe('the ratio of paired means', () => {
  it('is the ratio of the sums, never the mean of the ratios', () => {
    expect(answered(pairedRatio({ numerator: [1, 9], denominator: [2, 10] })).ratio).toBeCloseTo(10 / 12, 14);
  });

  it('does not change with the unit of both columns', () => {
    fc.assert(
      fc.property(columns, fc.constantFrom(0.001, 25.4, -3), ({ numerator, denominator }, unit) => {
        const scaled = {
          numerator: numerator.map((value) => unit * value),
          denominator: denominator.map((value) => unit * value),
        };
        fc.pre(Math.max(...denominator) - Math.min(...denominator) > 1e-3);
        expectNear(
          numbersOf(answered(pairedRatio(scaled))),
          numbersOf(answered(pairedRatio({ numerator, denominator }))),
        );
      }),
    );
  });

  it('keeps its digits where numerators are nearly proportional to denominators', () => {
    const whole = [5.0, 4.4, 5.6, 3.9, 4.8, 4.7];
    const off = [1, -2, 1, 0, -1, 1].map((value) => value * 2 ** -40);
    const close = answered(
      pairedRatio({ numerator: whole.map((x, i) => x / 2 + (off[i] ?? 0)), denominator: whole }),
    );
    const n = whole.length;
    const left = whole.map((x, i) => x / 2 - close.ratio * x + (off[i] ?? 0));
    const error =
      Math.sqrt(left.reduce((sum, value) => sum + value ** 2, 0) / (n - 1) / n) / close.denominatorMean;
    expect(Math.abs(close.standardError / error - 1)).toBeLessThan(1e-3);
    expect(ratioIsIn(close.fieller, close.ratio)).toBe(true);
    const same = answered(pairedRatio({ numerator: whole.map((x) => 0.8 * x), denominator: whole }));
    expect(same.standardError).toBeLessThan(1e-15);
  });

  it('has no denominator distance where denominators do not vary, nor log limits too large for a number', () => {
    const flat = answered(pairedRatio({ numerator: [1, 2, 4], denominator: [0.7, 0.7, 0.7] }));
    expect(flat.denominatorDistance).toBeNull();
    const wide = answered(pairedRatio({ numerator: [1, -0.999], denominator: [2, 3] }, { level: 0.999 }));
    expect(wide.ratio).toBeGreaterThan(0);
    expect(wide.logDelta).toBeNull();
  });

  it('is refused where the mean of the denominator is 0 but for rounding', () => {
    expect(pairedRatio({ numerator: [1, 2, 4], denominator: [0.1, 0.2, -0.3] })).toHaveProperty(
      'refused',
      'zero-denominator',
    );
  });

  /** Proportional columns, or columns that depart from it by more than the rounding of sums, which goes with the order. */
  function isTellable(numerator: readonly number[], denominator: readonly number[]): boolean {
    const [first = NaN] = numerator;
    const [over = NaN] = denominator;
    const departure = numerator.map((value, i) => Math.abs(value * over - first * (denominator[i] ?? NaN)));
    const largest = Math.max(...departure);
    return largest === 0 || largest > 1e-9;
  }

  it('does not change with the order of the rows', () => {
    fc.assert(
      fc.property(columns, ({ numerator, denominator }) => {
        fc.pre(Math.max(...denominator) - Math.min(...denominator) > 1e-3);
        fc.pre(isTellable(numerator, denominator));
        const turned = { numerator: numerator.toReversed(), denominator: denominator.toReversed() };
        expectNear(
          numbersOf(answered(pairedRatio(turned))),
          numbersOf(answered(pairedRatio({ numerator, denominator }))),
        );
      }),
    );
  });

  it('takes a patient with several rows as the sum of them', () => {
    const rows = answered(
      pairedRatio({
        numerator: [1, 2, 3, 4, 2],
        denominator: [2, 3, 3, 5, 4],
        patient: ['a', 'b', 'a', 'c', 'b'],
      }),
    );
    expect(rows).toEqual(answered(pairedRatio({ numerator: [4, 4, 4], denominator: [5, 7, 5] })));
  });

  it('has a set of one point where nothing varies', () => {
    const { fieller, denominatorDistance } = answered(
      pairedRatio({ numerator: [3, 3], denominator: [4, 4] }),
    );
    expect(fieller).toEqual({ kind: 'bounded', lower: 0.75, upper: 0.75 });
    expect(denominatorDistance).toBeNull();
  });

  it.each([
    ['no rows', { numerator: [], denominator: [] }, 'too-few', '0 pair'],
    ['one pair', { numerator: [1], denominator: [2] }, 'too-few', '1 pair'],
    ['one patient', { numerator: [1, 2], denominator: [2, 3], patient: [7, 7] }, 'too-few', '1 patient'],
    ['NaN', { numerator: [1, NaN], denominator: [2, 3] }, 'wrong-value', 'numerator[1] is NaN'],
    ['unequal lengths', { numerator: [1, 2], denominator: [2] }, 'wrong-length', 'denominator has 1'],
    [
      'patients too short',
      { numerator: [1, 2], denominator: [2, 1], patient: [1] },
      'wrong-length',
      'patient',
    ],
    ['a mean of 0 below', { numerator: [1, 2], denominator: [-1, 1] }, 'zero-denominator', 'must not be 0'],
  ])('is refused in words: %s', (_, data, code, words) => {
    const answer = pairedRatio(data);
    expect(isRefusal(answer) && answer.refused).toBe(code);
    expect(isRefusal(answer) && answer.message).toContain(words);
    const drawn = bootstrapRatio(data);
    expect(isRefusal(drawn)).toBe(true);
  });
});

describe('the ratio of independent means', () => {
  it('has the degrees of freedom of the spread that matters', () => {
    // The denominator hardly varies: all uncertainty is the numerator's, on 4 - 1 degrees of freedom.
    const { df } = answered(
      independentRatio({ numerator: [1, 5, 2, 9], denominator: [4, 4.0001, 4, 4.0001, 4] }),
    );
    expect(df).toBeCloseTo(3, 3);
  });

  it('is refused for one value above or below', () => {
    expect(independentRatio({ numerator: [1], denominator: [1, 2] })).toHaveProperty('refused', 'too-few');
    expect(independentRatio({ numerator: [1, 2], denominator: [2] })).toHaveProperty('refused', 'too-few');
  });
});

describe('bootstrap limits of the ratio', () => {
  const data = { numerator: now, denominator: then };

  it('are the same for the same seed, others for another', () => {
    const first = answered(bootstrapRatio(data, { seed: 5, replicates: 300 }));
    expect(answered(bootstrapRatio(data, { seed: 5, replicates: 300 }))).toEqual(first);
    expect(answered(bootstrapRatio(data, { seed: 6, replicates: 300 })).percentile).not.toEqual(
      first.percentile,
    );
  });

  it('do not change with the unit', () => {
    const scaled = { numerator: now.map((v) => v * 4), denominator: then.map((v) => v * 4) };
    expect(answered(bootstrapRatio(scaled))).toEqual(answered(bootstrapRatio(data)));
  });

  it('draw whole patients', () => {
    const patient = now.map((_, i) => `p${i >> 1}`);
    const pairs = [0, 2, 4, 6];
    const add = (list: readonly number[]): number[] => pairs.map((i) => (list[i] ?? 0) + (list[i + 1] ?? 0));
    const rows = answered(bootstrapRatio({ ...data, patient }));
    expect(rows).toEqual(answered(bootstrapRatio({ numerator: add(now), denominator: add(then) })));
  });

  it('count the samples whose denominator changes sign', () => {
    const near = answered(bootstrapRatio({ numerator: [1, 2, 3, 2], denominator: [2, -1.5, 1, -0.8] }));
    expect(near.signChanges).toBeGreaterThan(100);
    expect(answered(bootstrapRatio(data)).signChanges).toBe(0);
  });

  it('are not given accelerated where all pairs have one ratio', () => {
    const { percentile, accelerated } = answered(
      bootstrapRatio({ numerator: [1, 2, 3, 4], denominator: [2, 4, 6, 8] }),
    );
    expect(percentile).toMatchObject({ lower: 0.5, upper: 0.5 });
    expect(accelerated).toMatchObject({ lower: 0.5, upper: 0.5 });
  });

  it.each([
    ['two pairs', { numerator: [1, 2], denominator: [2, 3] }, {}, 'too-few'],
    ['ten samples', data, { replicates: 10 }, 'wrong-value'],
    ['a level of 95', data, { level: 95 }, 'wrong-level'],
    [
      'denominators mostly 0',
      { numerator: [1, 1, 1, 1], denominator: [0, 0, 0, 2] },
      {},
      'undefined-samples',
    ],
  ])('are refused for %s', (_, input, options, code) => {
    expect(bootstrapRatio(input, options)).toHaveProperty('refused', code);
  });
});

import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { bootstrapReplicates, createRandom, isRefusal, type Refusal } from '@longhold/core/numeric';
import {
  bootstrapRatio,
  independentRatio,
  pairedRatio,
  type PairedColumns,
  type RatioInterval,
  type RatioOfMeans,
} from '@longhold/core/ratio';
import { expectClose } from './closeness';
import { readFixture, referencePath, type NumberOrNull } from './fixture';
import { CLOSED_FORM } from './tolerances';

interface Limits {
  readonly lower: number;
  readonly upper: number;
}
interface Expected {
  readonly name: string;
  readonly level: number;
  readonly ratio: number;
  readonly standardError: number;
  readonly df: number;
  readonly denominatorDistance: NumberOrNull;
  readonly fieller: RatioInterval;
  readonly delta: Limits;
  readonly logDelta: Limits | null;
}
type Bootstrap = PairedColumns & {
  readonly name: string;
  readonly draws: string;
  readonly seed: number;
  readonly level: number;
  readonly ratio: number;
  readonly ties: number;
  readonly percentile: Limits;
  readonly accelerated: Limits;
};

// Source: formulas in plain R, t.test for degrees of freedom, boot.ci on the same draws; see r/ratio-of-means.R.
const fixture = readFixture<{
  paired: (Expected & PairedColumns)[];
  independent: (Expected & PairedColumns)[];
  bootstrap: Bootstrap[];
}>('ratio-of-means');

function answered<Answer extends object>(answer: Answer | Refusal): Answer {
  if (isRefusal(answer)) throw new Error(answer.message);
  return answer;
}

function expectLimits(actual: Limits | null, expected: Limits | null, what: string): void {
  expect(actual === null, what).toBe(expected === null);
  if (actual === null || expected === null) return;
  expectClose(actual.lower, expected.lower, CLOSED_FORM, `lower ${what}`);
  expectClose(actual.upper, expected.upper, CLOSED_FORM, `upper ${what}`);
}

function expectRatio(actual: RatioOfMeans, expected: Expected): void {
  for (const key of ['ratio', 'standardError', 'df'] as const) {
    expectClose(actual[key], expected[key], CLOSED_FORM, key);
  }
  expectClose(
    actual.denominatorDistance ?? NaN,
    expected.denominatorDistance ?? NaN,
    CLOSED_FORM,
    'distance',
  );
  expectLimits(actual.delta, expected.delta, 'delta');
  expectLimits(actual.logDelta, expected.logDelta, 'log delta');
  expect(actual.fieller.kind).toBe(expected.fieller.kind);
  const ends = (set: RatioInterval): Limits | null =>
    set.kind === 'bounded' || set.kind === 'unbounded' ? set : null;
  expectLimits(ends(actual.fieller), ends(expected.fieller), 'Fieller');
}

describe('the ratio of means agrees with R', () => {
  it.each(fixture.paired)('paired: $name', ({ numerator, denominator, patient, ...expected }) => {
    const columns = patient === undefined ? { numerator, denominator } : { numerator, denominator, patient };
    expectRatio(answered(pairedRatio(columns, { level: expected.level })), expected);
  });

  it.each(fixture.independent)('independent: $name', ({ numerator, denominator, ...expected }) => {
    expectRatio(answered(independentRatio({ numerator, denominator }, { level: expected.level })), expected);
  });
});

describe('bootstrap limits agree with boot.ci on the same draws', () => {
  it.each([
    ['twelve.csv', 41, 12],
    ['eight.csv', 42, 8],
  ] as const)('%s holds the draws of the random stream', (file, seed, size) => {
    const text = readFileSync(referencePath('data', 'bootstrap-draws', file), 'utf8');
    const rows = text.trim().split('\n');
    const drawn: string[] = [];
    bootstrapReplicates(size, rows.length, createRandom(seed), (draw) => {
      drawn.push(draw.join(','));
      return 0;
    });
    expect(drawn).toEqual(rows);
  });

  it.each(fixture.bootstrap)('$name', ({ numerator, denominator, patient, seed, level, ...expected }) => {
    const columns = patient === undefined ? { numerator, denominator } : { numerator, denominator, patient };
    const actual = answered(bootstrapRatio(columns, { seed, level, replicates: 499 }));
    expectClose(actual.ratio, expected.ratio, CLOSED_FORM, 'ratio');
    expectLimits(actual.percentile, expected.percentile, 'percentile');
    expectLimits(actual.accelerated, expected.accelerated, 'accelerated');
  });

  it('has a case whose replicates equal the estimate, where half of them count as below it', () => {
    expect(Math.max(...fixture.bootstrap.map(({ ties }) => ties))).toBeGreaterThan(5);
  });
});

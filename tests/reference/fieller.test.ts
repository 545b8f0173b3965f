import { describe, expect, it } from 'vitest';
import { mean, sampleCovariance, sampleVariance, twoSidedStudent } from '@longhold/core/numeric';
import { fiellerInterval, type RatioInput, type RatioInterval } from '@longhold/core/ratio';
import { expectAllClose, expectClose } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM } from './tolerances';

interface Pairs {
  readonly name: string;
  readonly now: readonly number[];
  readonly then: readonly number[];
  readonly level: number;
  readonly ratio: number;
  readonly set: RatioInterval;
}
type Case = RatioInput & { readonly name: string; readonly quantile: number; readonly set: RatioInterval };

// Source: the quadratic solved in plain R, each limit put back into the inequality there; see r/fieller.R.
const fixture = readFixture<{ cases: Case[]; pairedMeans: Pairs[] }>('fieller');

function expectSet(actual: RatioInterval, expected: RatioInterval): void {
  expect(actual.kind).toBe(expected.kind);
  const ends = (set: RatioInterval): number[] => [
    ...('lower' in set ? [set.lower] : []),
    ...('upper' in set ? [set.upper] : []),
  ];
  expectAllClose(ends(actual), ends(expected), CLOSED_FORM, 'ends');
}

describe("Fieller's set of a ratio agrees with R", () => {
  it.each(fixture.cases)('$name', ({ quantile, set, ...input }) => {
    expectSet(fiellerInterval(input, quantile), set);
  });

  it.each(fixture.pairedMeans)('ratio of paired means: $name', ({ now, then, level, ratio, set }) => {
    const n = now.length;
    const input = {
      numerator: mean(now),
      denominator: mean(then),
      numeratorVariance: sampleVariance(now) / n,
      denominatorVariance: sampleVariance(then) / n,
      covariance: sampleCovariance(now, then) / n,
    };
    expectClose(input.numerator / input.denominator, ratio, CLOSED_FORM, 'ratio');
    expectSet(fiellerInterval(input, twoSidedStudent(level, n - 1)), set);
  });
});

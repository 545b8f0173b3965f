import { mean } from '../numeric';
import type { GroupMeanDifference, GroupSurvival } from './survival-groups-answer';

/**
 * Differences of restricted means with limits put together from those of the two means (Zou and Donner 2008, who square and
 * add how far each limit reaches). Patients of two groups are independent; what the groups have in common, the growth curve
 * and the method error, shows as a correlation of their draws, whose part is taken off.
 *
 * @param draws for each group its means under the same draws of curve and error, patients resampled apart; null where
 *   nothing is known that the groups have in common
 */
export function meanDifferences(
  groups: readonly GroupSurvival[],
  reference: string | null,
  draws: ReadonlyMap<string, Float64Array> | null,
): GroupMeanDifference[] {
  const base = groups.find(({ label }) => label === reference)?.restrictedMean ?? null;
  if (base === null || reference === null) return [];
  return groups.flatMap(({ label, restrictedMean: own }): GroupMeanDifference[] => {
    if (label === reference || own === null) return [];
    const shared = correlation(draws?.get(label), draws?.get(reference));
    const estimate = own.estimate - base.estimate;
    return [
      {
        label,
        estimate,
        limits: {
          lower:
            estimate - together(own.estimate - own.limits.lower, base.limits.upper - base.estimate, shared),
          upper:
            estimate + together(own.limits.upper - own.estimate, base.estimate - base.limits.lower, shared),
        },
        undefinedWithin: {
          lower: own.undefinedWithin.lower - base.undefinedWithin.upper,
          upper: own.undefinedWithin.upper - base.undefinedWithin.lower,
        },
      },
    ];
  });
}

function together(a: number, b: number, shared: number): number {
  return Math.sqrt(Math.max(0, a ** 2 + b ** 2 - 2 * shared * a * b));
}

/** Correlation of two columns of draws; 0 where there are none, they are of unequal length, or one does not vary. */
function correlation(a: Float64Array | undefined, b: Float64Array | undefined): number {
  if (a === undefined || b === undefined || a.length !== b.length || a.length < 2) return 0;
  const [meanA, meanB] = [mean([...a]), mean([...b])];
  let [both, squaresA, squaresB] = [0, 0, 0];
  a.forEach((value, i) => {
    const [fromA, fromB] = [value - meanA, (b[i] ?? NaN) - meanB];
    both += fromA * fromB;
    squaresA += fromA ** 2;
    squaresB += fromB ** 2;
  });
  return squaresA === 0 || squaresB === 0 ? 0 : both / Math.sqrt(squaresA * squaresB);
}

import { inverseFromCholesky } from '../numeric';
import { eliminateGroup, eliminatorOf, pullGroup, type Eliminator } from './elimination';
import type { MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { criterionOf, type DevianceValue } from './profiled-deviance';
import type { RelativeFactors } from './relative-factor';
import { multiply, sandwich } from './small-matrices';

/** What the data say about the random effects of one outer group, in the model's basis. */
export interface OuterGroupState {
  /** Predicted effects, r. */
  readonly effects: Float64Array;
  /** How they move with the coefficients on Q: effects = constant - pull * coefficients; r x p. */
  readonly pull: Float64Array;
  /** Their covariance given the responses and the coefficients, over the residual variance; r x r. */
  readonly spread: Float64Array;
}

/** The same for one group. */
export interface GroupState {
  readonly outer: number;
  readonly effects: Float64Array;
  readonly pull: Float64Array;
  /** As of an outer group, but with the outer effects given as well; q x q. */
  readonly spread: Float64Array;
  /** How the group's effects move with those of its outer group: effects = constant - share * outer effects; q x r. */
  readonly share: Float64Array;
}

/** The states of all groups and outer groups at a pair of relative factors, and the criterion's value there. */
export interface GroupStates {
  readonly factors: RelativeFactors;
  readonly value: DevianceValue;
  readonly groups: readonly GroupState[];
  readonly outers: readonly OuterGroupState[];
}

/**
 * Best linear unbiased predictions of the random effects (Henderson 1975), from the equations that the deviance
 * solves; at the factors of the fit where none are given. Null where these break down, which a fit excludes.
 */
export function groupStates(
  model: MixedModel,
  fit: MixedFit,
  factors: RelativeFactors = fit.factors,
): GroupStates | null {
  const value = criterionOf(model, fit.criterion).value(factors, fit.residualSd ** 2);
  if (value === null) return null;
  const { p, width, outerStart, ww } = model.products;
  const eliminator = eliminatorOf(model.products);
  const residual = Float64Array.from({ length: p + 1 }, (_, i) => (i === p ? 1 : -(value.shift[i] ?? 0)));
  const groups: GroupState[] = [];
  const outers: OuterGroupState[] = [];
  for (let o = 0; o + 1 < outerStart.length; o++) {
    eliminator.within.set(ww.subarray(o * width * width, (o + 1) * width * width));
    const to = outerStart[o + 1] ?? 0;
    for (let g = outerStart[o] ?? 0; g < to; g++) eliminateGroup(eliminator, factors.random, g);
    const outer = outerState(eliminator, factors.outer, residual);
    if (outer !== null) outers.push(outer);
    for (let g = outerStart[o] ?? 0; g < to; g++) {
      groups.push(groupState(eliminator, factors.random, residual, g, o, outer));
    }
  }
  return { factors, value, groups, outers };
}

/** The state of the outer group whose groups are eliminated; null where nothing is nested. */
function outerState(
  { products, outer, within }: Eliminator,
  factor: Float64Array,
  residual: Float64Array,
): OuterGroupState | null {
  if (outer === null) return null;
  const { r, p } = products;
  const side = p + 1;
  outer.eliminate(within, factor, new Float64Array(side * side));
  const { solved, innerInverse } = outer.state();
  const scaled = multiply(factor, solved, r, r, side);
  return {
    effects: multiply(scaled, residual, r, side, 1),
    pull: block(scaled, r, side, 0, p),
    spread: sandwich(factor, innerInverse, r, r),
  };
}

function groupState(
  eliminator: Eliminator,
  factor: Float64Array,
  residual: Float64Array,
  group: number,
  outerNumber: number,
  outer: OuterGroupState | null,
): GroupState {
  const { q, r, p, width } = eliminator.products;
  eliminateGroup(eliminator, factor, group);
  pullGroup(eliminator, group);
  const scaled = multiply(factor, allColumns(eliminator, group), q, q, width);
  const share = block(scaled, q, width, 0, r);
  const effects = multiply(block(scaled, q, width, r, p + 1), residual, q, p + 1, 1);
  const pull = block(scaled, q, width, r, p);
  const spread = sandwich(factor, inverseFromCholesky(eliminator.scratch.inner, q), q, q);
  if (outer === null) return { outer: outerNumber, share, effects, pull, spread };
  const fromOuter = multiply(share, outer.effects, q, r, 1);
  const pullOfOuter = multiply(share, outer.pull, q, r, p);
  return {
    outer: outerNumber,
    share,
    effects: effects.map((entry, a) => entry - (fromOuter[a] ?? 0)),
    pull: pull.map((entry, i) => entry - (pullOfOuter[i] ?? 0)),
    spread,
  };
}

/** What `pullGroup` left in `reduced`, with the columns the group does not use; q x width. */
function allColumns({ products, scratch }: Eliminator, group: number): Float64Array {
  const { q, width, columnStart, columns } = products;
  const first = columnStart[group] ?? 0;
  const used = (columnStart[group + 1] ?? 0) - first;
  const whole = new Float64Array(q * width);
  for (let a = 0; a < q; a++) {
    for (let k = 0; k < used; k++) {
      whole[a * width + (columns[first + k] ?? 0)] = scratch.reduced[a * used + k] ?? 0;
    }
  }
  return whole;
}

/** Some columns of a row-major matrix. */
function block(
  matrix: Float64Array,
  rows: number,
  width: number,
  from: number,
  columns: number,
): Float64Array {
  const part = new Float64Array(rows * columns);
  for (let i = 0; i < rows; i++) {
    for (let j = 0; j < columns; j++) part[i * columns + j] = matrix[i * width + from + j] ?? 0;
  }
  return part;
}

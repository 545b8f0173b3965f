import { heldCorrelation, heldDeviation, type HeldComponent } from './held-component';
import { factorsAt, freeEntries, type MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { criterionOf, type Criterion, type DevianceSlope } from './profiled-deviance';
import { factorList, factorMatrix, type RelativeFactors } from './relative-factor';
import type { SmoothFunction } from './smooth-minimum';
import { placedComponents, type PlacedComponent } from './variance-components';

/** How the deviance is followed while one variance component is held at a value. */
export interface ProfilePath {
  /** The component's estimate on the scale of the search, and the ends of that scale; null where it has none. */
  readonly at: number;
  readonly lowest: number | null;
  readonly highest: number | null;
  /** A step worth trying first. */
  readonly scale: number;
  /** All other parameters at the fit. */
  readonly start: Float64Array;
  /** The deviance with the component held, as a function of the others. */
  fixed(at: number): SmoothFunction;
  /** From the scale of the search to the component's own. */
  shown(at: number): number;
}

interface Profiled {
  readonly component: PlacedComponent;
  readonly path: ProfilePath | null;
  /** Why there is no path. */
  readonly missing: string | null;
}

/** One path for each component that has a profile. */
export function profilePaths(model: MixedModel, fit: MixedFit): Profiled[] {
  const criterion = criterionOf(model, fit.criterion);
  return placedComponents(model, fit).map((component) => {
    if (component.term === 'residual') {
      return fit.residualKnown
        ? { component, path: null, missing: 'The residual standard deviation was given, not estimated.' }
        : { component, path: residualPath(criterion, fit), missing: null };
    }
    if (component.estimate === null) {
      return {
        component,
        path: null,
        missing: 'A correlation with an effect that does not vary is not defined.',
      };
    }
    return { component, path: termPath(criterion, fit, component), missing: null };
  });
}

/** The residual standard deviation, on the logarithmic scale: the factors are free. */
function residualPath(criterion: Criterion, fit: MixedFit): ProfilePath {
  const { model } = criterion;
  return {
    at: Math.log(fit.residualSd),
    lowest: null,
    highest: null,
    scale: 2 / Math.sqrt(model.products.responses),
    start: freeEntries(model, fit.factors),
    fixed: (at) => (point) => {
      const found = criterion.slope(factorsAt(model, point), Math.exp(2 * at));
      return found && { value: found.deviance, gradient: freeEntries(model, found.slope) };
    },
    shown: Math.exp,
  };
}

/**
 * A component of one term. Parameters: those that the held component leaves free, the entries of the other term's factor,
 * and the logarithm of the residual standard deviation where that is estimated and the component depends on it (else
 * it is profiled out).
 */
function termPath(criterion: Criterion, fit: MixedFit, component: PlacedComponent): ProfilePath {
  const { model } = criterion;
  const isOuter = component.term === 'outer';
  const held = heldComponent(model, fit, component);
  const other = isOuter ? model.random : model.outer;
  const otherFactor = isOuter ? fit.factors.random : fit.factors.outer;
  const otherList = other === null ? [] : factorList(otherFactor, other.size, other.structure);
  const own = held.start.length;
  const movesSigma = component.kind === 'standard-deviation' && !fit.residualKnown;
  const sigmaAt = (point: Float64Array): number =>
    movesSigma ? Math.exp(point[point.length - 1] ?? NaN) : fit.residualSd;

  const factorsOf = (at: number, point: Float64Array): RelativeFactors => {
    const factor = held.factor(at, sigmaAt(point), point.subarray(0, own));
    const rest = point.subarray(own, own + otherList.length);
    const matrix = other === null ? new Float64Array(0) : factorMatrix(rest, other.size, other.structure);
    return isOuter ? { random: matrix, outer: factor } : { random: factor, outer: matrix };
  };
  const gradientOf = (at: number, point: Float64Array, found: DevianceSlope): Float64Array => {
    const { random, outer } = found.slope;
    const free = point.subarray(0, own);
    const { byFree, byLogSigma } = held.slope(at, sigmaAt(point), free, isOuter ? outer : random);
    const byOther = other === null ? [] : factorList(isOuter ? random : outer, other.size, other.structure);
    const bySigma = 2 * found.degrees - (2 * found.sumOfSquares) / found.variance + byLogSigma;
    return Float64Array.of(...byFree, ...byOther, ...(movesSigma ? [bySigma] : []));
  };
  return {
    at: held.at,
    lowest: held.lowest,
    highest: held.highest,
    scale: held.scale,
    start: Float64Array.of(...held.start, ...otherList, ...(movesSigma ? [Math.log(fit.residualSd)] : [])),
    fixed: (at) => (point) => {
      const variance = movesSigma || fit.residualKnown ? sigmaAt(point) ** 2 : null;
      const found = criterion.slope(factorsOf(at, point), variance);
      return found && { value: found.deviance, gradient: gradientOf(at, point, found) };
    },
    shown: (at) => held.shown(at),
  };
}

function heldComponent(model: MixedModel, fit: MixedFit, component: PlacedComponent): HeldComponent {
  const isOuter = component.term === 'outer' && model.outer !== null;
  const basis = isOuter ? model.outer : model.random;
  const factor = isOuter ? fit.factors.outer : fit.factors.random;
  const [first = 0, second = 0] = component.places;
  return component.kind === 'correlation'
    ? heldCorrelation(basis, factor, first, second)
    : heldDeviation(basis, factor, first, component.estimate ?? 0, fit.residualSd);
}

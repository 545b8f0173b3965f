import { createRandom, isRefusal, refuse } from '../numeric';
import { criterionOf, type Criterion, type DevianceValue } from './profiled-deviance';
import { prepareMixedModel, noVariation, type MixedModel, type TermBasis } from './mixed-model';
import type { MixedData, MixedRefusal } from './model-data';
import {
  covarianceOf,
  factorList,
  factorMatrix,
  freePlaces,
  rebased,
  type RelativeFactor,
  type RelativeFactors,
} from './relative-factor';
import { singularities, type Singularity } from './singularity';
import { sandwich } from './small-matrices';
import { smoothMinimum, type SmoothFunction, type SmoothMinimum } from './smooth-minimum';
import { unidentifiedVariance } from './unidentified';

/** A fitted linear mixed model. Units follow the response and the columns. */
export interface MixedFit {
  readonly criterion: 'REML' | 'ML';
  readonly fixedNames: readonly string[];
  /** Fixed effects, and their covariance as a row-major p x p matrix. */
  readonly coefficients: readonly number[];
  readonly covariance: Float64Array;
  /** Covariance of the random effects, row-major q x q. */
  readonly randomCovariance: readonly number[];
  /** Covariance of the outer random effects, row-major r x r; empty where nothing is nested. */
  readonly outerCovariance: readonly number[];
  /** Of a response of weight 1. */
  readonly residualSd: number;
  /** The residual standard deviation was given, not estimated. */
  readonly residualKnown: boolean;
  /** Relative Cholesky factors, lower triangles column by column (diagonals for a diagonal structure): where a like model's search may start. */
  readonly relativeFactor: RelativeFactor;
  readonly outerRelativeFactor: RelativeFactor;
  /** Of the criterion used, constants included. */
  readonly logLikelihood: number;
  /** Fixed effects, free entries of the factors, and the residual variance where it is estimated. */
  readonly parameters: number;
  /** Akaike's and Schwarz's criterion from the log-likelihood of the criterion used; Schwarz's with log of the number of responses. */
  readonly aic: number;
  readonly bic: number;
  readonly groups: number;
  /** 0 where nothing is nested. */
  readonly outerGroups: number;
  readonly responses: number;
  /** A random-effect variance is zero, or random effects are perfectly correlated; `singularities` says which. */
  readonly singular: boolean;
  readonly singularities: readonly Singularity[];
  /** The search ended where nothing is left to gain. */
  readonly converged: boolean;
  /** Largest absolute derivative of the deviance by an entry of the relative factors, columns scaled to mean square 1. */
  readonly gradient: number;
  readonly evaluations: number;
  /** The relative factors in the model's own bases, for what is computed from a fit. */
  readonly factors: RelativeFactors;
}

/** How a mixed model is fitted. */
export interface MixedFitOptions {
  /** `REML`, the default, does not take the fixed effects as known when it estimates variances. */
  readonly criterion?: 'REML' | 'ML';
  /** Where the search starts: `relativeFactor` of a like fit. */
  readonly start?: RelativeFactor;
  /**
   * `at-edge`, the default, searches again from elsewhere where a variance ends at zero. `never` trusts the first way
   * down, for data so large that the likelihood has one maximum.
   */
  readonly restarts?: 'at-edge' | 'never';
}

/**
 * Fits y = X b + Z u + e with random effects u ~ N(0, G) of each group and e ~ N(0, sigma^2 / weight), by
 * restricted or full maximum likelihood; with an outer term, y = X b + Z u + C v + e with v ~ N(0, H) of each
 * outer group. The likelihood is profiled down to the relative Cholesky factors of G and H.
 * Sources: Laird and Ware 1982 (model); Bates, Maechler, Bolker and Walker 2015 (profiled deviance).
 *
 * @returns a refusal where data and model don't go together, or the responses leave no variation
 */
export function fitLinearMixedModel(data: MixedData, options: MixedFitOptions = {}): MixedFit | MixedRefusal {
  const model = prepareMixedModel(data);
  return isRefusal(model) ? model : fitMixedModel(model, options);
}

/** As `fitLinearMixedModel`, for a model made ready before. */
export function fitMixedModel(model: MixedModel, options: MixedFitOptions = {}): MixedFit | MixedRefusal {
  const name = options.criterion ?? 'REML';
  const unidentified = name === 'REML' ? unidentifiedVariance(model) : null;
  if (unidentified !== null) return unidentified;
  const criterion = criterionOf(model, name);
  const minimum = search(criterion, options);
  if (minimum === null) return noVariation();
  const factors = factorsAt(model, minimum.point);
  const value = criterion.value(factors, knownVariance(model));
  if (value === null || isExhausted(model, factors)) return noVariation();
  const fit = describeFit(model, name, minimum, factors, value);
  return isFinite(fit) ? fit : breakdown();
}

/** Numbers of very unlike size can pass every check and still leave the range of doubles when they are multiplied. */
function isFinite(fit: MixedFit): boolean {
  return [
    ...fit.coefficients,
    ...fit.covariance,
    ...fit.randomCovariance,
    ...fit.outerCovariance,
    ...fit.relativeFactor,
    ...fit.outerRelativeFactor,
    fit.residualSd,
    fit.logLikelihood,
    fit.gradient,
  ].every(Number.isFinite);
}

function breakdown(): MixedRefusal {
  return refuse(
    'arithmetic-breaks-down',
    'The columns are of such unlike size that their products leave the range of numbers; give them in other units.',
  );
}

/** The deviance at given relative factors (as in `relativeFactor` and `outerRelativeFactor`), to hold against other programs. */
export function devianceAt(
  model: MixedModel,
  criterion: 'REML' | 'ML',
  relativeFactor: RelativeFactor,
  outerRelativeFactor: RelativeFactor = [],
): number | null {
  const factors = {
    random: toBasis(model.random, relativeFactor),
    outer: model.outer === null ? new Float64Array(0) : toBasis(model.outer, outerRelativeFactor),
  };
  return criterionOf(model, criterion).value(factors, knownVariance(model))?.deviance ?? null;
}

/** The residual variance where it is known, else null. */
export function knownVariance(model: MixedModel): number | null {
  return model.residual.knownSd === null ? null : model.residual.knownSd ** 2;
}

/** The relative factors whose free entries are listed, first those of the groups, then of the outer groups. */
export function factorsAt(model: MixedModel, point: Float64Array): RelativeFactors {
  const { random, outer } = model;
  const own = freePlaces(random.size, random.structure).length;
  return {
    random: factorMatrix(point.subarray(0, own), random.size, random.structure),
    outer:
      outer === null ? new Float64Array(0) : factorMatrix(point.subarray(own), outer.size, outer.structure),
  };
}

/** The free entries of both factors in one list; of their derivatives as well. */
export function freeEntries(model: MixedModel, factors: RelativeFactors): Float64Array {
  const { random, outer } = model;
  return Float64Array.of(
    ...factorList(factors.random, random.size, random.structure),
    ...(outer === null ? [] : factorList(factors.outer, outer.size, outer.structure)),
  );
}

/** The deviance as a function of the free entries, the residual variance profiled out or given. */
export function devianceOfFactors(criterion: Criterion, variance: number | null): SmoothFunction {
  const { model } = criterion;
  return (point) => {
    const found = criterion.slope(factorsAt(model, point), variance);
    return found === null ? null : { value: found.deviance, gradient: freeEntries(model, found.slope) };
  };
}

/** Multiples of the identity that a search may start from. */
const STARTS = [1, 0.2, 5];
/** From where the search is repeated at the edge: a column far from zero, as a calendar year, can need large factors. */
const FAR_STARTS = [50, 2500];

function search(
  criterion: Criterion,
  { start: given, restarts }: Pick<MixedFitOptions, 'start' | 'restarts'>,
): SmoothMinimum | null {
  const { model } = criterion;
  const f = devianceOfFactors(criterion, knownVariance(model));
  const scaled = (scale: number): Float64Array => freeEntries(model, identities(model, scale));
  if (given !== undefined && model.outer === null) {
    const start = freeEntries(model, { random: toBasis(model.random, given), outer: new Float64Array(0) });
    const found = smoothMinimum(f, start);
    if (found?.converged === true) return found;
  }
  const best = STARTS.map((scale) => {
    const value = criterion.value(identities(model, scale), knownVariance(model));
    return { scale, deviance: value?.deviance ?? Infinity };
  }).reduce((a, b) => (b.deviance < a.deviance ? b : a));
  const found = smoothMinimum(f, scaled(best.scale));
  if (found === null) return found;
  if (found.converged && restarts === 'never') return found;
  const isScarce = model.products.groups <= 2 * found.point.length;
  if (found.converged && !isScarce && !isAtEdge(found.point, model)) return found;
  // At the edge of what is possible, and with few groups, there may be several minima; ways from elsewhere find the lowest.
  return [...elsewhere(found.point.length), ...FAR_STARTS.map(scaled)]
    .map((start) => smoothMinimum(f, start))
    .reduce<SmoothMinimum>((a, b) => (b !== null && isLower(b, a) ? b : a), found);
}

function isLower(one: SmoothMinimum, other: SmoothMinimum): boolean {
  if (one.converged && !other.converged && one.value <= other.value) return true;
  return one.value < other.value - 1e-10 * Math.abs(other.value);
}

/** Starts with correlations of either sign, the same for every fit; the more parameters, the more of them. */
function elsewhere(size: number): Float64Array[] {
  const random = createRandom(1);
  return Array.from({ length: 4 + 2 * size }, (_, i) =>
    Float64Array.from({ length: size }, () => (i % 2 === 0 ? 1 : 0.3) * random.normal()),
  );
}

function isAtEdge(point: Float64Array, model: MixedModel): boolean {
  const factors = factorsAt(model, point);
  return edge(factors.random, model.random.size) || edge(factors.outer, model.outer?.size ?? 0);
}

function edge(factor: Float64Array, size: number): boolean {
  for (let i = 0; i < size; i++) if (Math.abs(factor[i * size + i] ?? 0) < 1e-4) return true;
  return false;
}

function identities(model: MixedModel, scale: number): RelativeFactors {
  const identity = (size: number): Float64Array => {
    const matrix = new Float64Array(size * size);
    for (let i = 0; i < size; i++) matrix[i * size + i] = scale;
    return matrix;
  };
  return { random: identity(model.random.size), outer: identity(model.outer?.size ?? 0) };
}

function toBasis(basis: TermBasis, list: RelativeFactor): Float64Array {
  return rebased(basis.transform, factorMatrix(list, basis.size, basis.structure), basis.size);
}

/** Random effects that vary this much more than the residuals leave those as rounding. */
const EXHAUSTED = 1e5;

function isExhausted(model: MixedModel, { random, outer }: RelativeFactors): boolean {
  const largest = [...random, ...outer].reduce((most, entry) => Math.max(most, Math.abs(entry)), 0);
  return model.residual.knownSd === null && largest > EXHAUSTED;
}

function describeFit(
  model: MixedModel,
  criterion: 'REML' | 'ML',
  minimum: SmoothMinimum,
  factors: RelativeFactors,
  value: DevianceValue,
): MixedFit {
  const { p, groups, responses } = model.products;
  const onQ = model.leastSquares.map((entry, i) => entry + (value.shift[i] ?? 0));
  const parameters = p + minimum.point.length + (model.residual.knownSd === null ? 1 : 0);
  const logLikelihood = -value.deviance / 2;
  const random = termResult(model.random, factors.random, value.variance);
  const outer = model.outer === null ? null : termResult(model.outer, factors.outer, value.variance);
  const found = [...random.singularities, ...(outer?.singularities ?? [])];
  return {
    criterion,
    fixedNames: model.fixedNames,
    coefficients: Array.from({ length: p }, (_, i) =>
      onQ.reduce((sum, entry, j) => sum + (model.inverseTriangle[i * p + j] ?? 0) * entry, 0),
    ),
    covariance: sandwich(model.inverseTriangle, value.inverseInformation, p, p).map(
      (entry) => entry * value.variance,
    ),
    randomCovariance: random.covariance,
    outerCovariance: outer?.covariance ?? [],
    residualSd: Math.sqrt(value.variance),
    residualKnown: model.residual.knownSd !== null,
    relativeFactor: random.list,
    outerRelativeFactor: outer?.list ?? [],
    logLikelihood,
    parameters,
    aic: -2 * logLikelihood + 2 * parameters,
    bic: -2 * logLikelihood + Math.log(responses) * parameters,
    groups,
    outerGroups: model.order.outerLabels.length,
    responses,
    singular: found.length > 0,
    singularities: found,
    converged: minimum.converged,
    gradient: minimum.gradient.reduce((most, entry) => Math.max(most, Math.abs(entry)), 0),
    evaluations: minimum.evaluations,
    factors,
  };
}

function termResult(basis: TermBasis, factor: Float64Array, variance: number) {
  const own = rebased(basis.back, factor, basis.size);
  return {
    list: factorList(own, basis.size, basis.structure),
    covariance: Array.from(covarianceOf(own, basis.size), (entry) => entry * variance),
    singularities: singularities(basis, factor),
  };
}

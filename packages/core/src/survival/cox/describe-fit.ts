import {
  chiSquaredUpperTail,
  normalTwoSidedP,
  studentTwoSidedP,
  twoSidedNormal,
  twoSidedStudent,
} from '../../numeric';
import type { CoxCoefficient, CoxFit, CoxModel, CoxOptions, CoxTest } from './cox-fit';
import type { CoefficientState } from './finite-coefficients';
import type { PartialLikelihood } from './partial-likelihood';
import type { CoxTies } from './risk-sets';
import { clusterScores, crossProducts, quadraticForm, sandwich } from './robust-covariance';

/** All that is said of a fit, on the scale of the caller's covariates. */
export function describeFit(
  model: CoxModel,
  atZero: PartialLikelihood,
  options: Required<CoxOptions>,
): CoxFit {
  const { sorted, maximum, names, clusters } = model;
  const { ties, level, robust } = options;
  const correct = robust && options.fewClusters;
  const size = names.length;
  const finite = maximum.direction === null;
  const { states, inverseInformation } = model.finite;
  const meat = robust ? meatAt(model, maximum.coefficients, ties) : null;
  const inflation = correct ? clusters.count / (clusters.count - 1) : 1;
  const inner =
    meat === null
      ? inverseInformation
      : sandwich(inverseInformation, meat, size).map((value) => value * inflation);
  const zero = new Float64Array(size);
  const clusteredScore =
    robust && clusters.count > size ? quadraticForm(meatAt(model, zero, ties), atZero.score) : null;
  const wald = finite ? quadraticForm(inner, maximum.coefficients) : null;
  return {
    rows: sorted.rows,
    events: sorted.event.reduce((count, event) => count + event, 0),
    ties,
    level,
    coefficients: names.map((name, j) => {
      const scale = sorted.scale[j] ?? 1;
      return describeCoefficient({
        name,
        state: states[j] ?? 'finite',
        estimate: (maximum.coefficients[j] ?? 0) / scale,
        standardError: Math.sqrt(Math.max(0, inner[j * size + j] ?? 0)) / scale,
        modelStandardError: Math.sqrt(inverseInformation[j * size + j] ?? 0) / scale,
        level,
        df: correct ? clusters.count - 1 : null,
      });
    }),
    covariance: finite ? unscaled(inner, sorted.scale) : null,
    modelCovariance: finite ? unscaled(inverseInformation, sorted.scale) : null,
    robust,
    clusters: robust ? clusters.count : null,
    logLikelihood: maximum.logLikelihood,
    nullLogLikelihood: atZero.logLikelihood,
    likelihoodRatioTest: chiSquaredTest(2 * (maximum.logLikelihood - atZero.logLikelihood), size),
    waldTest: wald === null ? null : chiSquaredTest(wald, size),
    scoreTest: chiSquaredTest(quadraticForm(atZero.information, atZero.score) ?? 0, size),
    robustScoreTest: clusteredScore === null ? null : chiSquaredTest(clusteredScore, size),
    iterations: maximum.iterations,
    warning: !finite
      ? monotoneWarning(model)
      : robust && !correct && clusters.count < FEW_CLUSTERS
        ? fewClustersWarning(clusters.count)
        : null,
    model,
  };
}

function meatAt({ sorted, clusters }: CoxModel, coefficients: Float64Array, ties: CoxTies): Float64Array {
  return crossProducts(clusterScores(sorted, coefficients, ties, clusters), sorted.columns);
}

function unscaled(matrix: Float64Array, scale: Float64Array): Float64Array {
  const size = scale.length;
  return matrix.map(
    (value, cell) => value / ((scale[Math.floor(cell / size)] ?? 1) * (scale[cell % size] ?? 1)),
  );
}

function chiSquaredTest(statistic: number, df: number): CoxTest {
  const positive = Math.max(0, statistic);
  return { statistic: positive, df, pValue: chiSquaredUpperTail(positive, df) };
}

function describeCoefficient(found: {
  readonly name: string;
  readonly state: CoefficientState;
  readonly estimate: number;
  readonly standardError: number;
  readonly modelStandardError: number;
  readonly level: number;
  readonly df: number | null;
}): CoxCoefficient {
  const { name, state, estimate, standardError, modelStandardError, level, df } = found;
  const nothing = { z: null, pValue: null, lower: null, upper: null, hazardRatio: null };
  const infinite = state === 'plus' || state === 'minus' ? state : null;
  if (state !== 'finite') {
    return { name, estimate: null, infinite, standardError: null, modelStandardError: null, ...nothing };
  }
  const reach = (df === null ? twoSidedNormal(level) : twoSidedStudent(level, df)) * standardError;
  const z = standardError > 0 ? estimate / standardError : null;
  const ratio = {
    estimate: Math.exp(estimate),
    lower: Math.exp(estimate - reach),
    upper: Math.exp(estimate + reach),
  };
  return {
    name,
    estimate,
    infinite: null,
    standardError,
    modelStandardError,
    z,
    pValue: z === null ? null : df === null ? normalTwoSidedP(z) : studentTwoSidedP(z, df),
    lower: estimate - reach,
    upper: estimate + reach,
    hazardRatio: Number.isFinite(ratio.upper) ? ratio : null,
  };
}

/** Below this the normal limits of the sandwich cover too seldom (docs/validation.md). */
const FEW_CLUSTERS = 40;

function fewClustersWarning(count: number): string {
  return (
    `Robust standard errors from ${count} clusters are too small on average, and their normal limits cover too ` +
    "seldom; Student's limits with the factor G / (G - 1) (fewClusters) are nearer to what they claim."
  );
}

function monotoneWarning({ names: all, finite: { states } }: CoxModel): string {
  const names = all.filter((_, j) => states[j] === 'plus' || states[j] === 'minus');
  const lost = all.filter((_, j) => states[j] === 'undetermined');
  const [which, has] = names.length === 1 ? ['the coefficient', 'is'] : ['the coefficients', 'are'];
  return (
    `Monotone likelihood: ${which} of ${names.join(', ')} ${has} infinite, because at every event the one with the ` +
    'event had the most extreme value of all at risk. There is no Wald interval or test; the likelihood ratio test ' +
    `and profile limits are valid. ${lost.length > 0 ? `Nothing is left then that tells about ${lost.join(', ')}. ` : ''}` +
    'Fewer covariates, merged levels of a factor, or another reference level (where nobody with the present one had ' +
    'an event) would give a finite estimate.'
  );
}

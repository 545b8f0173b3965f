import {
  chiSquaredUpperTail,
  normalTwoSidedP,
  refuse,
  studentTwoSidedP,
  twoSidedNormal,
  twoSidedStudent,
  type DesignPlace,
  type Refusal,
} from '../../numeric';
import { checkedCoxData, type CoxData, type CoxDataRefusal } from './cox-data';
import { finiteCoefficients, type FiniteCoefficients } from './finite-coefficients';
import { sortCoxRows, type CoxRows } from './cox-rows';
import { maximisePartialLikelihood, type CoxMaximum } from './newton';
import { partialLikelihood, type PartialLikelihood } from './partial-likelihood';
import { linearPredictors, type CoxTies } from './risk-sets';
import {
  clusterScores,
  crossProducts,
  numberedClusters,
  quadraticForm,
  sandwich,
  type Clusters,
} from './robust-covariance';

export interface CoxOptions {
  /** Default `efron`, the better approximation where times are tied. */
  readonly ties?: CoxTies;
  /** Of the intervals; default 0.95. */
  readonly level?: number;
  /**
   * Standard errors from the sandwich covariance. Default: where clusters are given, or weights that are not all
   * whole numbers, for which the model's own standard errors mean nothing.
   */
  readonly robust?: boolean;
  /**
   * With robust standard errors from few clusters, which are too small on average: the covariance of G clusters times
   * G / (G - 1), and limits and p values from Student's t on G - 1 degrees of freedom. Default false, as most programs.
   */
  readonly fewClusters?: boolean;
}

/** One column of the model. */
export interface CoxCoefficient {
  /** The covariate's name, or `name=level` for a factor. */
  readonly name: string;
  /**
   * Log hazard ratio for one unit more, or for the level against the reference. Null where it is infinite, or where
   * other coefficients are and nothing is left that tells about this one.
   */
  readonly estimate: number | null;
  /** `plus` or `minus` where the estimate is infinite (monotone likelihood), else null. */
  readonly infinite: 'plus' | 'minus' | null;
  /** Robust where the fit is robust. Null where the estimate is. */
  readonly standardError: number | null;
  /** From the information alone, whatever `standardError` is. Null where the estimate is. */
  readonly modelStandardError: number | null;
  /** Estimate / standard error; null where either is missing or the standard error is 0. */
  readonly z: number | null;
  /** Two-sided, from the normal distribution (Student's t with `fewClusters`); null with `z`. */
  readonly pValue: number | null;
  /** Wald limits of the log hazard ratio; null where the estimate is. */
  readonly lower: number | null;
  readonly upper: number | null;
  /** exp of the estimate and of its limits; null where one of them is missing or too large for a number. */
  readonly hazardRatio: { readonly estimate: number; readonly lower: number; readonly upper: number } | null;
}

export interface CoxTest {
  /** Chi-squared under the hypothesis that all coefficients are zero. */
  readonly statistic: number;
  readonly df: number;
  readonly pValue: number;
}

export interface CoxFit {
  readonly rows: number;
  /** Rows with an event. */
  readonly events: number;
  readonly ties: CoxTies;
  readonly level: number;
  readonly coefficients: readonly CoxCoefficient[];
  /** Row-major; robust where the fit is robust. Null where a coefficient is infinite. */
  readonly covariance: Float64Array | null;
  /** Inverse information, row-major. Null where a coefficient is infinite. */
  readonly modelCovariance: Float64Array | null;
  /** Whether `standardError` and `covariance` are those of the sandwich, and from how many clusters. */
  readonly robust: boolean;
  readonly clusters: number | null;
  /** At the estimates; where a coefficient is infinite, the height that the likelihood approaches. */
  readonly logLikelihood: number;
  /** With all coefficients zero. */
  readonly nullLogLikelihood: number;
  readonly likelihoodRatioTest: CoxTest;
  /** With the robust covariance where the fit is robust. Null where a coefficient is infinite or the covariance singular. */
  readonly waldTest: CoxTest | null;
  readonly scoreTest: CoxTest;
  /** Null unless the fit is robust and there are more clusters than columns. */
  readonly robustScoreTest: CoxTest | null;
  readonly iterations: number;
  /** What to beware of and what would be right: an infinite coefficient, few clusters. Else null. */
  readonly warning: string | null;
  /** What the functions that build on a fit need of it. */
  readonly model: CoxModel;
}

/** Sorted data and estimates on the inner scale. */
export interface CoxModel {
  readonly sorted: CoxRows;
  readonly maximum: CoxMaximum;
  readonly finite: FiniteCoefficients;
  readonly terms: readonly DesignPlace[];
  readonly names: readonly string[];
  readonly clusters: Clusters;
}

export type CoxRefusal =
  CoxDataRefusal | Refusal<'wrong-level' | 'no-information' | 'few-clusters' | 'not-converged'>;

/**
 * Cox's proportional hazards regression: hazard(t | x) = baseline(t) exp(x'b), b where the partial likelihood is
 * highest. Strata, late entry, case weights, factors, robust and cluster-robust standard errors.
 * Sources: Cox 1972; Efron 1977; Breslow 1974; Lin and Wei 1989; Therneau and Grambsch 2000.
 *
 * Where the likelihood is monotone (some covariate separates those with events from those at risk), the columns
 * concerned are flagged as infinite and `warning` says so. The likelihood ratio test stays valid.
 *
 * @returns a refusal for data that can't be fitted: see the codes; columns that depend on each other are named
 */
export function fitCox(data: CoxData, options: CoxOptions = {}): CoxFit | CoxRefusal {
  const { ties = 'efron', level = 0.95 } = options;
  if (!(level > 0 && level < 1)) {
    return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1, such as 0.95.`);
  }
  const checked = checkedCoxData(data);
  if ('refused' in checked) return checked;
  const { design, columns } = checked;
  const sorted = sortCoxRows(columns, design);
  const zero = new Float64Array(design.columns);
  const atZero = partialLikelihood(sorted, zero, ties);
  const fault = informationFault(atZero, sorted, design.names);
  if (fault !== null) return fault;
  const maximum = maximisePartialLikelihood(sorted, ties, zero, null, atZero);
  const robust = options.robust ?? (data.clusters !== undefined || !sorted.weight.every(Number.isInteger));
  const unusable = farApart(sorted, maximum) && (robust || maximum.direction === null);
  if (unusable || (maximum.direction === null && !maximum.converged)) {
    return refuse(
      'not-converged',
      'The partial likelihood has no maximum that can be found; fewer covariates, or covariates without extreme values, would be needed.',
    );
  }
  const clusters = numberedClusters(data.clusters ?? null, sorted.rows);
  if (robust && clusters.count < 2) {
    return refuse('few-clusters', 'All rows belong to one cluster; robust standard errors need several.');
  }
  const model: CoxModel = {
    sorted,
    maximum,
    finite: finiteCoefficients(maximum, atZero),
    terms: design.terms,
    names: design.names,
    clusters,
  };
  return describeFit(model, atZero, { ties, level, robust, fewClusters: options.fewClusters ?? false });
}

/** Beyond this range hazards relative to each other are no longer numbers. */
const WIDEST_RANGE = 500;

function farApart(sorted: CoxRows, maximum: CoxMaximum): boolean {
  const predictors = linearPredictors(sorted, maximum.coefficients);
  return predictors.some((predictor) => !(Math.abs(predictor) < WIDEST_RANGE / 2));
}

/** Share of the variation of a column that must be its own within the risk sets. */
const OWN_SHARE = 1e-12;
/** Of a variance of standardised covariates, from the difference of two sums. */
const ROUNDING = 1e-14;

/** A column that does not vary within the risk sets of events, or follows there from columns before it. */
function informationFault(
  { information }: PartialLikelihood,
  sorted: CoxRows,
  names: readonly string[],
): Refusal<'no-information'> | null {
  const size = names.length;
  let eventWeight = 0;
  for (let k = 0; k < sorted.rows; k++) if (sorted.event[k] === 1) eventWeight += sorted.weight[k] ?? 0;
  for (let j = 0; j < size; j++) {
    const name = names[j] ?? '';
    const own = information[j * size + j] ?? 0;
    if (!(own > OWN_SHARE * eventWeight)) {
      return refuse(
        'no-information',
        `${name} is the same for all who are at risk whenever an event happens, so nothing can be learnt about it; leave it out${sorted.strata.length > 1 ? ', or stratify by something else' : ''}.`,
      );
    }
    const before = leading(information, size, j);
    const cross = Float64Array.from({ length: j }, (_, i) => information[j * size + i] ?? 0);
    const explained = j === 0 ? 0 : quadraticForm(before, cross);
    if (explained === null || !(own - explained > OWN_SHARE * own + ROUNDING * eventWeight)) {
      return refuse(
        'no-information',
        `${name} follows from ${names.slice(0, j).join(', ')} for all who are at risk whenever an event happens; leave one of them out.`,
      );
    }
  }
  return null;
}

function leading(matrix: Float64Array, size: number, columns: number): Float64Array {
  const part = new Float64Array(columns * columns);
  for (let row = 0; row < columns; row++) {
    part.set(matrix.subarray(row * size, row * size + columns), row * columns);
  }
  return part;
}

function describeFit(model: CoxModel, atZero: PartialLikelihood, options: Required<CoxOptions>): CoxFit {
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
  readonly state: FiniteCoefficients['states'][number];
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

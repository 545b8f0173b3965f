import { refuse, type Refusal } from '../../numeric';
import { checkedCoxData, type CoxData, type CoxDataRefusal } from './cox-data';
import type { CoxFit, CoxModel, CoxOptions } from './cox-fit';
import { sortCoxRows, type CoxRows } from './cox-rows';
import { describeFit } from './describe-fit';
import { finiteCoefficients } from './finite-coefficients';
import { maximisePartialLikelihood, type CoxMaximum } from './newton';
import { partialLikelihood, type PartialLikelihood } from './partial-likelihood';
import { linearPredictors } from './risk-sets';
import { numberedClusters, quadraticForm } from './robust-covariance';

/** Why there is no fit. */
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

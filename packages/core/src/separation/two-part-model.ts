import {
  contrasts,
  fitMixedModel,
  prepareMixedModel,
  type ContrastEstimate,
  type MixedData,
  type MixedFit,
  type MixedModel,
  type MixedRefusalCode,
  type RandomStructure,
  type RelativeFactor,
} from '../mixed';
import { isRefusal, refuse, type Refusal } from '../numeric';

/**
 * Gains of patients over time, column by column, n entries each. A gain is adjusted for expected growth and counted
 * in the favourable direction, in the unit of the measure.
 */
export interface GainSeries {
  /** Whose gain it is; equal labels are one patient. */
  readonly patient: ArrayLike<string | number>;
  readonly gain: ArrayLike<number>;
}

/** Fewer patients than this carry no model of what differs between patients. */
export const PATIENTS_NEEDED = 6;

/** Why a gain could not be split into its parts; the message says what is missing. */
export type SeparationRefusal = Refusal<
  | MixedRefusalCode
  | 'too-few-patients'
  | 'no-change-over-time'
  | 'no-curvature'
  | 'no-growth'
  | 'unsure-velocity'
  | 'wrong-time'
>;

/** One of the two parts: its mean over patients with Satterthwaite's degrees of freedom, test and interval. */
export interface PartEstimate extends Omit<ContrastEstimate, 't' | 'p'> {
  /** Of the part being zero; both null where the interval comes with no test of its own. */
  readonly t: number | null;
  readonly p: number | null;
}

/** A gain split into a part that stays and a part that goes with a regressor x: A = (T + u) + (S + w) x + e. */
export interface TwoPartFit {
  /** T, what is left where x is zero; unit of the measure. */
  readonly lasting: PartEstimate;
  /** S, the gain for each unit of x. */
  readonly passing: PartEstimate;
  /** Covariance of the estimates of T and S. */
  readonly covariance: Covariance;
  /** Covariance, over patients, of their own departures u and w. */
  readonly betweenPatients: Covariance;
  /** SD of a gain around the patient's own course: measurement error and short-term deviation, unit of the measure. */
  readonly residualSd: number;
  /** `full`; `diagonal` where the data did not carry a correlation of u and w. */
  readonly structure: RandomStructure;
  /** What is at the edge of what is possible, in sentences; empty where nothing is. */
  readonly edges: readonly string[];
  readonly patients: number;
  readonly gains: number;
  /** Restricted and full log-likelihood, each at its own maximum, constants included. */
  readonly restrictedLogLikelihood: number;
  readonly logLikelihood: number;
  /** Akaike's criterion of the full likelihood, for comparison with another regressor. */
  readonly aic: number;
  readonly model: MixedModel;
  readonly fit: MixedFit;
}

/** A symmetric 2 x 2 matrix for T (or u) and S (or w). */
export interface Covariance {
  readonly lasting: number;
  readonly both: number;
  readonly passing: number;
}

/**
 * Fits the two parts by restricted maximum likelihood, patients' own departures from both as correlated random
 * effects; where the data refuse that, with uncorrelated ones.
 * Source: Laird and Ware 1982; degrees of freedom Fai and Cornelius 1996.
 *
 * @param regressor x of each gain; must vary within at least six patients
 */
export function fitTwoParts(
  series: GainSeries,
  regressor: ArrayLike<number>,
  level: number,
): TwoPartFit | SeparationRefusal {
  const patients = new Set(Array.from(series.patient)).size;
  if (patients < PATIENTS_NEEDED) {
    return refuse(
      'too-few-patients',
      `Patients with a gain that could be followed: ${patients}; at least ${PATIENTS_NEEDED} are needed to tell lasting from passing gain.`,
    );
  }
  const followed = followedPatients(series, regressor);
  if (followed < PATIENTS_NEEDED) {
    return refuse(
      'no-change-over-time',
      `Patients seen at two times that differ in what is to be told apart: ${followed}; at least ${PATIENTS_NEEDED} are needed.`,
    );
  }
  return fitPartsOf((structure) => twoPartData(series, regressor, structure), patients, level);
}

/**
 * The fit of data whose fixed columns, and whose random columns, are the two parts; with correlated random effects, or
 * uncorrelated ones where the data refuse the correlation.
 */
export function fitPartsOf(
  dataWith: (structure: RandomStructure) => MixedData,
  patients: number,
  level: number,
): TwoPartFit | SeparationRefusal {
  for (const structure of ['full', 'diagonal'] as const) {
    const model = prepareMixedModel(dataWith(structure));
    if (isRefusal(model)) return model;
    const fit = fitMixedModel(model);
    const estimates = isRefusal(fit) ? fit : contrasts(model, fit, PARTS, level);
    if (!isRefusal(fit) && !isRefusal(estimates))
      return describeFit(model, fit, estimates, structure, patients);
    if (structure === 'diagonal') return isRefusal(fit) ? fit : lacksCurvature();
  }
  return lacksCurvature();
}

const PARTS = [
  { name: 'lasting', weights: [1, 0] },
  { name: 'passing', weights: [0, 1] },
];

function lacksCurvature(): SeparationRefusal {
  return refuse(
    'no-curvature',
    'The likelihood is flat where it is highest, so how sure the two parts are cannot be said; more visits are needed.',
  );
}

/** Gains as a mixed model takes them: both parts as fixed effects and as patients' own departures. */
export function twoPartData(
  series: GainSeries,
  regressor: ArrayLike<number>,
  structure: RandomStructure,
): MixedData {
  const columns = [
    { name: 'lasting', values: Array.from(series.gain, () => 1) },
    { name: 'passing', values: Array.from(regressor) },
  ];
  return {
    response: series.gain,
    fixed: columns,
    random: { factor: 'patient', labels: series.patient, columns, structure },
  };
}

/** Patients with at least two different values of the regressor. */
function followedPatients({ patient }: GainSeries, regressor: ArrayLike<number>): number {
  const first = new Map<string | number, number>();
  const followed = new Set<string | number>();
  Array.from(patient).forEach((label, i) => {
    const value = regressor[i] ?? NaN;
    const known = first.get(label);
    if (known === undefined) first.set(label, value);
    else if (known !== value) followed.add(label);
  });
  return followed.size;
}

function describeFit(
  model: MixedModel,
  fit: MixedFit,
  estimates: readonly ContrastEstimate[],
  structure: RandomStructure,
  patients: number,
): TwoPartFit | SeparationRefusal {
  const [lasting, passing] = estimates;
  if (lasting === undefined || passing === undefined) return lacksCurvature();
  const full = fitMixedModel(model, { criterion: 'ML', start: fit.relativeFactor });
  if (isRefusal(full)) return full;
  return {
    lasting,
    passing,
    covariance: toCovariance(fit.covariance),
    betweenPatients: toCovariance(fit.randomCovariance),
    residualSd: fit.residualSd,
    structure,
    edges: fit.singularities.map(({ meaning }) => meaning),
    patients,
    gains: fit.responses,
    restrictedLogLikelihood: fit.logLikelihood,
    logLikelihood: full.logLikelihood,
    aic: full.aic,
    model,
    fit,
  };
}

/** Estimates and covariance of the two parts by restricted maximum likelihood, and nothing that costs more. */
export function estimateParts(
  series: GainSeries,
  regressor: ArrayLike<number>,
  structure: RandomStructure,
  start: RelativeFactor,
):
  | { readonly lasting: number; readonly passing: number; readonly covariance: Covariance }
  | SeparationRefusal {
  const model = prepareMixedModel(twoPartData(series, regressor, structure));
  if (isRefusal(model)) return model;
  const fit = fitMixedModel(model, { start });
  if (isRefusal(fit)) return fit;
  const [lasting = NaN, passing = NaN] = fit.coefficients;
  return { lasting, passing, covariance: toCovariance(fit.covariance) };
}

function toCovariance(matrix: ArrayLike<number>): Covariance {
  return { lasting: matrix[0] ?? NaN, both: matrix[1] ?? NaN, passing: matrix[3] ?? NaN };
}

import {
  contrasts,
  fitMixedModel,
  prepareMixedModel,
  type ContrastEstimate,
  type MixedData,
  type MixedFit,
  type MixedModel,
  type MixedRefusal,
  type NamedColumn,
  type RandomStructure,
} from '../mixed';
import { chiSquaredUpperTail, isRefusal, refuse, type Refusal } from '../numeric';
import { fiellerInterval } from '../ratio';
import { multiplierOf } from '../separation';
import type { CentreResult } from './centre-estimates';
import { noGrowth, tooFewFollowed, unsureVelocity } from './clock-of-sums';
import { clockData, partColumns, type PartColumns } from './gain-sums';
import { poolCentres, type CentrePool } from './pool-centres';
import type { PoolMember } from './pool-member';
import type { OneStage } from './pooled-retention';
import type { ChiSquaredTest } from './pooled-survival';

/** One of T, S and the lasting share, over centres and in one model of all patients. */
export interface PooledPart extends CentrePool {
  readonly oneStage: OneStage | Refusal;
}

/** The gain of all centres split into a lasting part and growth brought forward. */
export interface PooledSeparation {
  /** T, unit of the measure. */
  readonly lasting: PooledPart;
  /** S, years. */
  readonly forward: PooledPart;
  /** T over the gain at the end of active treatment. */
  readonly lastingShare: PooledPart;
  /** Standard deviations between patients within centres, between centres, and around a patient's own course. */
  readonly spread: ClockSpread | Refusal;
  /** Likelihood-ratio test that T and S are the same in all centres. */
  readonly differences: ChiSquaredTest | Refusal;
}

/** Standard deviations of T (unit of the measure) and S (years). */
export interface ClockSpread {
  readonly patients: { readonly lasting: number; readonly forward: number };
  readonly centres: { readonly lasting: number; readonly forward: number };
  readonly residual: number;
  /** Whether patients' departures in T and S may be correlated; else the data did not carry that. */
  readonly structure: RandomStructure;
  /** Gains behind the model. */
  readonly gains: number;
}

/**
 * Two-stage and one-stage results of the growth clock. One stage: A = (T + c + u) + (S + d + w) v + e, with c and d of
 * the centre (uncorrelated: few centres don't carry a correlation) and u and w of the patient within the centre; REML,
 * Satterthwaite's degrees of freedom.
 * Sources: Laird and Ware 1982; Debray and others 2015 (one and two stages).
 */
export function pooledSeparation(members: readonly PoolMember[], level: number): PooledSeparation {
  const named = (pick: (member: PoolMember) => CentreResult) =>
    members.map((member) => ({ centre: member.centre, ...pick(member) }));
  const columns = partColumns(members.map(({ statistics }) => statistics.separation.patients));
  const unsure = firstUnsure(members);
  const model = unsure ?? oneModel(columns, members, level);
  const part = (
    pick: (member: PoolMember) => CentreResult,
    one: (fit: OneModel) => OneStage,
  ): PooledPart => ({
    ...poolCentres(named(pick), 'identity', level),
    oneStage: isRefusal(model) ? model : one(model),
  });
  return {
    lasting: part(
      ({ estimates }) => estimates.lasting,
      (fit) => fit.lasting,
    ),
    forward: part(
      ({ estimates }) => estimates.forward,
      (fit) => fit.forward,
    ),
    lastingShare: part(
      ({ estimates }) => estimates.lastingShare,
      (fit) => fit.lastingShare,
    ),
    spread: isRefusal(model) ? model : model.spread,
    differences: unsure ?? centresDiffer(columns),
  };
}

/** One model of all patients is no better than the centre whose growth rates are least sure; null where all are sure. */
function firstUnsure(members: readonly PoolMember[]): Refusal | null {
  return members.reduce<Refusal | null>((found, { statistics }) => found ?? unsureVelocity(statistics), null);
}

interface OneModel {
  readonly lasting: OneStage;
  readonly forward: OneStage;
  readonly lastingShare: OneStage;
  readonly spread: ClockSpread;
}

function oneModel(columns: PartColumns, members: readonly PoolMember[], level: number): OneModel | Refusal {
  const wrong = tooFewFollowed(columns.patients, columns.followed) ?? noGrowth(columns.passing.values);
  if (wrong !== null) return wrong;
  const fitted = nestedFit(columns, level);
  if (isRefusal(fitted)) return fitted;
  const { fit, structure, lasting, forward } = fitted;
  const centres = new Set(columns.centre).size;
  const base = { patients: columns.patients, centres };
  const stage = (own: ContrastEstimate, commonSd: number): OneStage => {
    const reach = multiplierOf(own.df, level) * Math.hypot(own.standardError, commonSd);
    return {
      ...base,
      estimate: own.estimate,
      interval: { kind: 'bounded', lower: own.estimate - reach, upper: own.estimate + reach },
    };
  };
  const common = commonSds(members);
  const sds = (matrix: readonly number[]): { lasting: number; forward: number } => ({
    lasting: Math.sqrt(matrix[0] ?? NaN),
    forward: Math.sqrt(matrix[3] ?? NaN),
  });
  return {
    lasting: stage(lasting, common.lasting),
    forward: stage(forward, common.forward),
    lastingShare: { ...base, ...shareOf(fitted, members, common, level) },
    spread: {
      patients: sds(fit.randomCovariance),
      centres: sds(fit.outerCovariance),
      residual: fit.residualSd,
      structure,
      gains: fit.responses,
    },
  };
}

interface NestedFit {
  readonly model: MixedModel;
  readonly fit: MixedFit;
  readonly structure: RandomStructure;
  readonly lasting: ContrastEstimate;
  readonly forward: ContrastEstimate;
}

/** From so many patients on the search is not repeated where the centres' variance ends at zero, as it often does. */
const MANY_PATIENTS = 5000;

/** The model with patients within centres; with uncorrelated departures of patients where the data refuse others. */
function nestedFit(columns: PartColumns, level: number): NestedFit | Refusal {
  let why: Refusal | null = null;
  for (const structure of ['full', 'diagonal'] as const) {
    const model = prepareMixedModel(nestedData(columns, structure));
    const restarts = columns.patients > MANY_PATIENTS ? 'never' : 'at-edge';
    const fit = isRefusal(model) ? model : fitMixedModel(model, { restarts });
    if (isRefusal(model) || isRefusal(fit)) {
      why = isRefusal(model) ? model : isRefusal(fit) ? fit : null;
      continue;
    }
    const found = contrasts(model, fit, PARTS, level);
    if (isRefusal(found)) {
      why = found;
      continue;
    }
    const [lasting, forward] = found;
    if (lasting !== undefined && forward !== undefined) return { model, fit, structure, lasting, forward };
  }
  return why ?? refuse('no-curvature', 'The likelihood is flat where it is highest.');
}

const PARTS = [
  { name: 'lasting', weights: [1, 0] },
  { name: 'passing', weights: [0, 1] },
];

function nestedData(columns: PartColumns, structure: RandomStructure): MixedData {
  return {
    ...clockData(columns, structure),
    outer: {
      factor: 'centre',
      labels: columns.centre,
      columns: [columns.lasting, columns.passing],
      structure: 'diagonal',
    },
  };
}

/** What a shared growth table adds, weighted by patients as if it pulled all centres the same way. */
function commonSds(members: readonly PoolMember[]): { readonly lasting: number; readonly forward: number } {
  const shared = members.filter(({ statistics }) => statistics.reference.kind === 'common');
  const patients = members.reduce((sum, { statistics }) => sum + statistics.separation.patients.length, 0);
  const along = (pick: 'lasting' | 'passing'): number =>
    shared.reduce(
      (sum, { statistics: { separation } }) =>
        sum + (separation.patients.length / patients) * Math.sqrt(separation.curve?.[pick] ?? 0),
      0,
    );
  return { lasting: along('lasting'), forward: along('passing') };
}

/** T / (T + S x) at the mean velocity x of all patients at the end of active treatment; Fieller's set. */
function shareOf(
  { fit, lasting, forward }: NestedFit,
  members: readonly PoolMember[],
  common: { readonly lasting: number; readonly forward: number },
  level: number,
): Pick<OneStage, 'estimate' | 'interval'> {
  const ends = members.map(({ statistics }) => statistics.separation);
  const x =
    ends.reduce((sum, { endVelocity }) => sum + endVelocity, 0) /
    ends.reduce((sum, { endPatients }) => sum + endPatients, 0);
  const ofLasting = (fit.covariance[0] ?? NaN) + common.lasting ** 2;
  const both = fit.covariance[1] ?? NaN;
  const ofForward = (fit.covariance[3] ?? NaN) + common.forward ** 2;
  const gain = lasting.estimate + forward.estimate * x;
  const degrees = [lasting.df, forward.df].flatMap((df) => df ?? []);
  return {
    estimate: lasting.estimate / gain,
    interval: fiellerInterval(
      {
        numerator: lasting.estimate,
        denominator: gain,
        numeratorVariance: ofLasting,
        denominatorVariance: ofLasting + 2 * x * both + x * x * ofForward,
        covariance: ofLasting + x * both,
      },
      multiplierOf(degrees.length === 0 ? null : Math.min(...degrees), level),
    ),
  };
}

/** Entries of the centres' own columns that a computer's memory holds at ease. */
const MOST_ENTRIES = 10_000_000;

/**
 * Whether T and S differ between centres: twice the rise of the full likelihood when each centre has its own two, patients'
 * departures as before. Chi-squared on two less than twice the number of centres; too eager with few patients a centre.
 * Source: Verbeke and Molenberghs 2000, section 6.2 (fixed effects by full likelihood).
 */
function centresDiffer(columns: PartColumns): ChiSquaredTest | Refusal {
  const centres = [...new Set(columns.centre)];
  if (centres.length < 2) return refuse('too-few-centres', 'Centres: fewer than two; nothing to compare.');
  const wrong = tooFewFollowed(columns.patients, columns.followed) ?? noGrowth(columns.passing.values);
  if (wrong !== null) return wrong;
  if (2 * centres.length * columns.gain.length > MOST_ENTRIES) {
    return refuse(
      'too-large',
      "The pool is too large for one model with each centre's own two parts; Cochran's tests of the two stages stand in.",
    );
  }
  const own: NamedColumn[] = centres.flatMap((centre) =>
    [columns.lasting, columns.passing].map(({ name, values }) => ({
      name: `${name} ${centre}`,
      values: Array.from(values, (value, i) => (columns.centre[i] === centre ? value : 0)),
    })),
  );
  for (const structure of ['full', 'diagonal'] as const) {
    const common = fullLikelihood(clockData(columns, structure));
    const apart = fullLikelihood({ ...clockData(columns, structure), fixed: own });
    if (isRefusal(common)) {
      if (structure === 'full') continue;
      return common;
    }
    if (isRefusal(apart)) {
      if (structure === 'full') continue;
      return apart;
    }
    const statistic = Math.max(0, 2 * (apart - common));
    const degreesOfFreedom = 2 * (centres.length - 1);
    return { statistic, degreesOfFreedom, p: chiSquaredUpperTail(statistic, degreesOfFreedom) };
  }
  return refuse('no-curvature', 'The likelihood is flat where it is highest.');
}

function fullLikelihood(data: MixedData): number | MixedRefusal {
  const model = prepareMixedModel(data);
  if (isRefusal(model)) return model;
  const fit = fitMixedModel(model, { criterion: 'ML' });
  return isRefusal(fit) ? fit : fit.logLikelihood;
}

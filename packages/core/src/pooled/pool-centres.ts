import {
  isRefusal,
  refuse,
  resampledVariance,
  studentTwoSidedP,
  twoSidedStudent,
  type Refusal,
} from '../numeric';
import { randomEffects, type Limits, type PoolingWarning } from '../pooling';
import type { CentreEstimate, CentreResult } from './centre-estimates';

/**
 * The scale on which centres are pooled, and the way back. `identity`: as it is. `log-minus-log`: x = log(-log S), on
 * which a curve's estimate is nearer to normal and its limits stay within 0 and 1; it falls as S rises.
 */
export type PoolingScale = 'identity' | 'log-minus-log';

/** A centre's estimate under the name by which the caller knows the centre. */
export interface NamedResult extends CentreResult {
  readonly centre: string;
  /**
   * By how much the value would differ, on the scale of pooling, under each draw of a growth table that all centres share.
   * Where it is given the mean over centres is taken anew under each draw, and `commonSd` is not used.
   */
  readonly shifts?: readonly number[];
}

/** One row of a forest plot. */
export interface ForestRow {
  readonly centre: string;
  readonly patients: number;
  readonly estimate: number;
  readonly interval: CentreEstimate['interval'];
  /** Share of the centre in the two-stage mean, 0 to 1; null where there is no such mean. */
  readonly weight: number | null;
  /**
   * What the mean was made from, so that it can be made again: the estimate on the scale of pooling, the variance that is
   * the centre's alone, and the standard deviation that comes from a shared growth table.
   */
  readonly pooledAs: Pick<CentreEstimate, 'value' | 'variance' | 'commonSd'>;
}

/** A centre that takes no part in one quantity, and why. */
export interface CentreLeftOut {
  readonly centre: string;
  readonly patients: number;
  readonly why: Refusal;
}

/** The mean over centres like these, by a random-effects model. In the unit of the quantity. */
export interface TwoStageMean {
  readonly centres: number;
  readonly patients: number;
  readonly estimate: number;
  readonly limits: Limits;
  /** Two-sided p of zero; null on a scale on which zero has no meaning. */
  readonly p: number | null;
  /** Where the true value of a further centre is expected; null for two centres. */
  readonly prediction: Limits | null;
  /** tau^2 between centres and its Q-profile limits, on the scale of pooling. */
  readonly tauSquared: number;
  readonly tauSquaredLimits: Limits;
  /** Share, 0 to 1, of the variance that lies between centres. */
  readonly iSquared: number;
  /** Cochran's test that all centres have one true value. */
  readonly q: number;
  readonly qDegreesOfFreedom: number;
  readonly qP: number;
  /** Part of the standard error, on the scale of pooling, that a shared growth table brings in whatever the centres. */
  readonly commonSd: number;
  readonly warnings: readonly PoolingWarning[];
}

/** The mean when one centre is left out. */
export interface WithoutCentre {
  readonly centre: string;
  readonly estimate: number;
  readonly limits: Limits;
  readonly iSquared: number;
  /** As of the mean of all. */
  readonly commonSd: number;
}

/** Forest plot, random-effects mean and what hangs on single centres, of one quantity. */
export interface CentrePool {
  readonly scale: PoolingScale;
  readonly rows: readonly ForestRow[];
  readonly leftOut: readonly CentreLeftOut[];
  readonly twoStage: TwoStageMean | Refusal;
  /** One entry for each row; a refusal for fewer than three centres. */
  readonly withoutOne: readonly WithoutCentre[] | Refusal;
}

interface Named {
  readonly centre: string;
  readonly own: CentreEstimate;
  readonly shifts: readonly number[] | null;
}

/**
 * Pools centres' estimates: tau^2 by restricted maximum likelihood, Hartung and Knapp's interval with the floor, Q-profile
 * limits. What a growth table that all centres share is uncertain by does not average out: with the centres' shifts under
 * each draw of it, the mean is taken anew under each; else its standard deviations are added up with the centres' weights
 * as if they pulled all centres the same way, which is never too small.
 * Sources: Viechtbauer 2005; Röver, Knapp and Friede 2015; Viechtbauer 2007.
 */
export function poolCentres(results: readonly NamedResult[], scale: PoolingScale, level: number): CentrePool {
  const taken: Named[] = [];
  const leftOut: CentreLeftOut[] = [];
  for (const { centre, patients, result, shifts = null } of results) {
    if (isRefusal(result)) leftOut.push({ centre, patients, why: result });
    else taken.push({ centre, own: result, shifts });
  }
  const pooled = meanOf(taken, scale, level);
  return {
    scale,
    rows: taken.map(({ centre, own }, i) => ({
      centre,
      patients: own.patients,
      estimate: own.estimate,
      interval: own.interval,
      weight: isRefusal(pooled) ? null : (pooled.weights[i] ?? null),
      pooledAs: { value: own.value, variance: own.variance, commonSd: own.commonSd },
    })),
    leftOut,
    twoStage: isRefusal(pooled) ? pooled : pooled.mean,
    withoutOne: withoutEach(taken, scale, level),
  };
}

function meanOf(
  taken: readonly Named[],
  scale: PoolingScale,
  level: number,
): { readonly mean: TwoStageMean; readonly weights: readonly number[] } | Refusal {
  if (taken.length < 2) return tooFewCentres(taken.length);
  const fit = randomEffects(
    { estimate: taken.map(({ own }) => own.value), variance: taken.map(({ own }) => own.variance) },
    { level },
  );
  if (isRefusal(fit)) return fit;
  const { heterogeneity } = fit;
  const commonSd = commonSdOf(taken, fit.weights);
  const degrees = fit.errors.degreesOfFreedom ?? taken.length - 1;
  const standardError = Math.hypot(fit.standardError, commonSd);
  const around = (reach: number): Limits =>
    naturalLimits({ lower: fit.estimate - reach, upper: fit.estimate + reach }, scale);
  const { prediction } = fit;
  const mean: TwoStageMean = {
    centres: taken.length,
    patients: taken.reduce((sum, { own }) => sum + own.patients, 0),
    estimate: naturalValue(fit.estimate, scale),
    limits: around(twoSidedStudent(level, degrees) * standardError),
    p: scale === 'identity' ? studentTwoSidedP(fit.estimate / standardError, degrees) : null,
    prediction:
      prediction === null
        ? null
        : around(
            twoSidedStudent(level, prediction.degreesOfFreedom) *
              Math.hypot(Math.sqrt(heterogeneity.tauSquared), standardError),
          ),
    tauSquared: heterogeneity.tauSquared,
    tauSquaredLimits: {
      lower: heterogeneity.tauSquaredInterval.lower,
      upper: heterogeneity.tauSquaredInterval.upper,
    },
    iSquared: heterogeneity.iSquared,
    q: heterogeneity.q,
    qDegreesOfFreedom: heterogeneity.degreesOfFreedom,
    qP: heterogeneity.p,
    commonSd,
    warnings: fit.warnings,
  };
  return { mean, weights: fit.weights };
}

/** How much a growth table that all centres share moves their weighted mean, one standard deviation. */
function commonSdOf(taken: readonly Named[], weights: readonly number[]): number {
  const moved: number[] = [];
  let alike = 0;
  taken.forEach(({ own, shifts }, i) => {
    const weight = weights[i] ?? 0;
    if (shifts === null) alike += weight * own.commonSd;
    shifts?.forEach((shift, draw) => (moved[draw] = (moved[draw] ?? 0) + weight * shift));
  });
  return alike + Math.sqrt(resampledVariance(moved));
}

function tooFewCentres(centres: number): Refusal {
  return refuse(
    'too-few-centres',
    `Centres with an estimate of their own: ${centres}; at least two are needed for a mean over centres, and five or more for one that can be relied on.`,
  );
}

function withoutEach(
  taken: readonly Named[],
  scale: PoolingScale,
  level: number,
): readonly WithoutCentre[] | Refusal {
  if (taken.length < 3) {
    return refuse('too-few-centres', `Centres: ${taken.length}; three are needed to leave one out.`);
  }
  const rows: WithoutCentre[] = [];
  for (const { centre } of taken) {
    const rest = meanOf(
      taken.filter((one) => one.centre !== centre),
      scale,
      level,
    );
    if (isRefusal(rest)) return rest;
    const { estimate, limits, iSquared, commonSd } = rest.mean;
    rows.push({ centre, estimate, limits, iSquared, commonSd });
  }
  return rows;
}

/** A value on the scale of pooling as it is read. */
function naturalValue(value: number, scale: PoolingScale): number {
  return scale === 'identity' ? value : Math.exp(-Math.exp(value));
}

function naturalLimits({ lower, upper }: Limits, scale: PoolingScale): Limits {
  return scale === 'identity'
    ? { lower, upper }
    : { lower: naturalValue(upper, scale), upper: naturalValue(lower, scale) };
}

import { isRefusal, refuse } from '../numeric';
import { curveTransfer, withCurveUncertainty, type CurveRows, type CurveTransfer } from './curve-uncertainty';
import { fitTwoParts, type GainSeries, type SeparationRefusal, type TwoPartFit } from './two-part-model';
import { LEAST_VELOCITY_RELIABILITY, velocityReliability } from './velocity-reliability';

/** Gains with the expected growth velocity at the age of each. */
export interface ClockSeries extends GainSeries {
  /** d v(age): expected growth velocity in the favourable direction, unit of the measure per year. */
  readonly velocity: ArrayLike<number>;
  /** How gain and velocity hang on the reference's curve; null where the curve is taken as known. */
  readonly curve: CurveRows | null;
}

/**
 * The growth clock, A_ij = (T + u_i) + (S + w_i) v(age_ij) + e_ij: T is lasting gain, S the years by which growth was
 * brought forward; what was brought forward is worth S v and fades as growth ends.
 *
 * The error of the start value is common to all gains of a patient and so part of u. A child's own growth rate, which
 * departs from the curve for life, is not a term of its own: over a few years it goes along with v so closely that
 * u and w take it up, and simulated intervals keep their level (docs/validation.md). To the covariance of T and S comes
 * what the uncertainty of the reference's curve adds, which no number of treated patients averages away.
 */
export interface GrowthClockFit extends TwoPartFit {
  /** How T and S hang on the curve's coefficients; null where the curve is taken as known. */
  readonly transfer: CurveTransfer | null;
  /** How much of the differences in velocity is not the reference's error, at most 1; null where it is taken as known. */
  readonly velocityReliability: number | null;
}

/** Fits the growth clock; a refusal says what is missing. */
export function fitGrowthClock(series: ClockSeries, level = 0.95): GrowthClockFit | SeparationRefusal {
  const { velocity } = series;
  if (velocity.length > 0 && Array.from(velocity).every((value) => value === 0)) {
    return refuse(
      'no-growth',
      'This measure does not grow without treatment, so no growth can have been brought forward.',
    );
  }
  const fit = fitTwoParts(series, velocity, level);
  if (isRefusal(fit)) return fit;
  if (series.curve === null) return { ...fit, transfer: null, velocityReliability: null };
  const reliability = velocityReliability(series, series.curve, velocity, fit);
  if (reliability !== null && reliability < LEAST_VELOCITY_RELIABILITY) return unsureVelocity(reliability);
  const transfer = curveTransfer(series, series.curve, velocity, fit);
  return {
    ...fit,
    ...withCurveUncertainty(fit, transfer, level),
    transfer,
    velocityReliability: reliability,
  };
}

function unsureVelocity(reliability: number): SeparationRefusal {
  const byError = Math.round(100 * Math.min(1, 1 - reliability));
  return refuse(
    'unsure-velocity',
    `How fast children grow at each age is not known well enough from this growth reference: its own error could make ${byError} % of the differences in growth rate by which lasting gain is told from growth brought forward (at most ${Math.round(100 * (1 - LEAST_VELOCITY_RELIABILITY))} % are allowed). A reference from more children is needed, such as an untreated series that followed the same children.`,
  );
}

/** How far a result may lie from an outside number, and why. Relative where it says so, else in the number's unit. */

/** Formulas without iteration: double precision less the digits lost in sums and cancellations. Relative. */
export const CLOSED_FORM = 1e-9;

/** Tails and quantiles by series and continued fractions: two libraries, each good to about 1e-12. Relative. */
export const DISTRIBUTION = 1e-9;

/** Where a likelihood has its maximum: it is flat there, so half the digits of the likelihood are lost. Relative. */
export const MAXIMUM_PLACE = 1e-6;

/**
 * Variance components: the likelihood is flatter in them than in anything else. lme4 and nlme with their own
 * settings differ from each other by more than this on the ramus heights. Relative.
 */
export const VARIANCE_COMPONENT = 5e-6;

/** The height of a maximum of the likelihood. Relative. */
export const MAXIMUM_HEIGHT = 1e-9;

/**
 * Curves of survfit for interval-censored times: its iterations stop early. On the seeded sample of 300 its
 * log-likelihood is 0.028 below the maximum and its curve up to 0.012 from it. Absolute, a probability.
 */
export const EARLY_STOPPED = 0.015;

/** Masses of Turnbull's curve, which Newton steps polish until the optimality gap is near 1e-15. Absolute. */
export const TURNBULL_MASS = 1e-9;

/** Fixtures made again by the same formulas: other R versions and libraries of linear algebra round differently. Relative. */
export const REMADE = 1e-9;

/** Fixtures made again where an optimiser or an iteration had a part in them. Relative. */
export const REMADE_BY_OPTIMISER = 1e-6;

/** Half a unit of the last printed digit. */
export function printed(decimals: number): number {
  return 0.5 * 10 ** -decimals + 1e-12;
}

/** Maxima that Newton's method finds on both sides until its steps are lost in rounding. Relative. */
export const NEWTON_PLACE = 1e-9;

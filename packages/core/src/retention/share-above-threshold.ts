import { mean, normalCumulative, sampleVariance, twoSidedStudent } from '../numeric';
import type { Limits } from './adjusted-gain';
import type { ContrastEstimate } from './course';

/** A patient's adjusted gain minus the threshold. */
export type Margin = Pick<ContrastEstimate, 'estimate' | 'measurementVariance'>;

/** How many of a group still stand above the threshold, as measured and with measurement error taken out. */
export interface ShareAboveThreshold {
  readonly n: number;
  /** Share of patients whose margin was measured at zero or above; pulled towards one half by error. Null when n = 0. */
  readonly measured: number | null;
  /**
   * Share of patients whose true margin is above zero. Null for fewer than three patients, and where the variance
   * left for true margins is less than half its own standard error: then error alone could make all the spread.
   */
  readonly corrected: { readonly estimate: number; readonly limits: Limits } | null;
}

/**
 * Takes measurement error out of the share of patients above a threshold. The true margins of the group are taken
 * to be normal with a mean and a variance of their own; what is measured adds error of a known variance. So the
 * variance of the true margins is that of the measured ones less the error's, and the share is
 * Phi(mean / SD of the true margins). Limits by the delta method on mean / SD, with t on n - 1 degrees of freedom.
 * Patients whose gain of treatment is too small to be measured take part too, since nothing is divided by it.
 * Sources: Fuller 1987, chapter 1 (moments under known error variance); Cox and Hinkley 1974 (delta method).
 *
 * @param margins adjusted gain minus threshold, one a patient
 * @param meanCurveVariance variance that the growth curve's uncertainty gives the mean margin, unit squared
 */
export function shareAboveThreshold(
  margins: readonly Margin[],
  meanCurveVariance: number,
  level: number,
): ShareAboveThreshold {
  const n = margins.length;
  if (n === 0) return { n, measured: null, corrected: null };
  const values = margins.map(({ estimate }) => estimate);
  const measured = values.filter((value) => value >= 0).length / n;
  if (n < 3) return { n, measured, corrected: null };

  const total = sampleVariance(values);
  const trueVariance = total - mean(margins.map(({ measurementVariance }) => measurementVariance));
  const varianceError = Math.sqrt(2 / (n - 1)) * total;
  if (!(trueVariance > varianceError / 2)) return { n, measured, corrected: null };

  const sd = Math.sqrt(trueVariance);
  const distance = mean(values) / sd;
  const variance =
    (total / n + meanCurveVariance) / trueVariance + ((distance * varianceError) / (2 * trueVariance)) ** 2;
  const reach = twoSidedStudent(level, n - 1) * Math.sqrt(variance);
  return {
    n,
    measured,
    corrected: {
      estimate: normalCumulative(distance),
      limits: { lower: normalCumulative(distance - reach), upper: normalCumulative(distance + reach) },
    },
  };
}

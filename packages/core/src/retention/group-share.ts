import { mean, sampleCovariance, sampleVariance, twoSidedStudent } from '../numeric';
import { curveCovariance } from '../growth';
import type { Sex } from '../records';
import type { Limits } from './adjusted-gain';
import { contrastRow, estimateContrast, type Contrast, type Yardstick } from './course';
import { fiellerInterval, type RatioInterval } from '../ratio';

/** One patient's gains as contrasts: at the end of active treatment and at a later visit. */
export interface GainPair {
  readonly sex: Sex;
  readonly first: Contrast;
  readonly later: Contrast;
}

/** Retained share of a group. Means are in the measure's unit; the ratio has none. */
export interface GroupShare {
  readonly n: number;
  readonly meanGainAtEnd: number | null;
  readonly meanGainNow: number | null;
  readonly share: { readonly estimate: number; readonly interval: RatioInterval } | null;
}

/**
 * Retained share of a group: the ratio of the two mean gains of the same patients (never the mean of ratios,
 * which is biased and has no finite variance). Fieller's set with t on n - 1 degrees of freedom; to the sampling
 * covariance of the means is added the uncertainty of the growth curve, which all patients share and which no
 * number of patients averages away.
 * Sources: Fieller 1954; Cochran 1977, chapter 6 (ratio of means).
 */
export function groupShare(pairs: readonly GainPair[], yardstick: Yardstick, level: number): GroupShare {
  const n = pairs.length;
  if (n === 0) return { n, meanGainAtEnd: null, meanGainNow: null, share: null };
  const first = pairs.map((pair) => estimateContrast(pair.first, pair.sex, yardstick).estimate);
  const later = pairs.map((pair) => estimateContrast(pair.later, pair.sex, yardstick).estimate);
  const means = { n, meanGainAtEnd: mean(first), meanGainNow: mean(later) };
  if (n === 1) return { ...means, share: null };

  const firstRow = meanRow(pairs.map((pair) => contrastRow(pair.first, pair.sex, yardstick)));
  const laterRow = meanRow(pairs.map((pair) => contrastRow(pair.later, pair.sex, yardstick)));
  const { reference } = yardstick;
  const interval = fiellerInterval(
    {
      numerator: means.meanGainNow,
      denominator: means.meanGainAtEnd,
      numeratorVariance: sampleVariance(later) / n + curveCovariance(reference, laterRow, laterRow),
      denominatorVariance: sampleVariance(first) / n + curveCovariance(reference, firstRow, firstRow),
      covariance: sampleCovariance(later, first) / n + curveCovariance(reference, laterRow, firstRow),
    },
    twoSidedStudent(level, n - 1),
  );
  return { ...means, share: { estimate: means.meanGainNow / means.meanGainAtEnd, interval } };
}

/** Mean gain of active treatment with a t interval that carries the curve's uncertainty too. */
export interface GroupGain {
  readonly n: number;
  readonly mean: number;
  readonly sd: number;
  readonly limits: Limits;
}

/** Mean gain of a group; null for fewer than two patients. */
export function groupGain(
  gains: readonly { readonly sex: Sex; readonly contrast: Contrast }[],
  yardstick: Yardstick,
  level: number,
): GroupGain | null {
  const n = gains.length;
  if (n < 2) return null;
  const values = gains.map(({ sex, contrast }) => estimateContrast(contrast, sex, yardstick).estimate);
  const row = meanRow(gains.map(({ sex, contrast }) => contrastRow(contrast, sex, yardstick)));
  const average = mean(values);
  const variance = sampleVariance(values);
  const reach =
    twoSidedStudent(level, n - 1) * Math.sqrt(variance / n + curveCovariance(yardstick.reference, row, row));
  return {
    n,
    mean: average,
    sd: Math.sqrt(variance),
    limits: { lower: average - reach, upper: average + reach },
  };
}

/** The average of patients' coefficients on the growth curve, which carries the curve's uncertainty to a group's mean. */
export function meanRow(rows: readonly (readonly number[])[]): number[] {
  const total = new Array<number>(rows[0]?.length ?? 0).fill(0);
  for (const row of rows) row.forEach((value, i) => (total[i] = (total[i] ?? 0) + value / rows.length));
  return total;
}

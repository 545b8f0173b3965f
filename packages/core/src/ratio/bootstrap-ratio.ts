import {
  acceleratedLimits,
  bootstrapReplicates,
  createRandom,
  jackknifeAcceleration,
  percentileLimits,
  refuse,
  type AcceleratedLimits,
  type BootstrapLimits,
  type Refusal,
} from '../numeric';
import { checkLevel } from './checks';
import { patientTotals } from './patient-totals';
import { checkPaired, tooFew, type PairedColumns } from './ratio-of-means';

/** Bootstrap limits of a ratio of means. */
export interface BootstrapRatio {
  /** What is drawn: pairs, or patients with all their rows. */
  readonly units: number;
  readonly level: number;
  readonly ratio: number;
  readonly replicates: number;
  /** Samples whose denominators add up to 0; left out. */
  readonly undefinedReplicates: number;
  /** Samples whose denominator has the other sign than the estimate's: any of them makes these limits doubtful. */
  readonly signChanges: number;
  readonly percentile: BootstrapLimits;
  /** Bias-corrected and accelerated, acceleration by leaving out one unit at a time; null where it is not defined. */
  readonly accelerated: AcceleratedLimits | null;
}

/**
 * Percentile and BCa limits of the ratio of two means of the same units, the same for the same seed.
 * With patients, patients are drawn and left out with all their rows (cluster bootstrap).
 * Sources: Efron and Tibshirani 1993, chapters 13 and 14; Davison and Hinkley 1997, section 3.8 (clusters).
 *
 * @returns a refusal for fewer than 3 units (with 2, leaving one out leaves nothing to average), a ratio that is not
 *   defined, or one not defined in more than one sample in ten
 */
export function bootstrapRatio(
  columns: PairedColumns,
  options: { readonly level?: number; readonly replicates?: number; readonly seed?: number } = {},
): BootstrapRatio | Refusal {
  const { level = 0.95, replicates = 1999, seed = 1 } = options;
  const wrong = checkLevel(level) ?? checkPaired(columns) ?? checkReplicates(replicates);
  if (wrong !== null) return wrong;
  const { numerator, denominator } = patientTotals(columns);
  const units = numerator.length;
  if (units < 3) return tooFewUnits(units, columns.patient !== undefined);
  const above = sum(numerator);
  const below = sum(denominator);
  if (below === 0) {
    return refuse('zero-denominator', 'The mean of the denominator is 0; it must not be 0.');
  }
  const ratio = above / below;
  let signChanges = 0;
  const drawn = bootstrapReplicates(units, replicates, createRandom(seed), (rows) => {
    let top = 0;
    let bottom = 0;
    for (const row of rows) {
      top += numerator[row] ?? NaN;
      bottom += denominator[row] ?? NaN;
    }
    if (bottom * below < 0) signChanges++;
    return bottom === 0 ? null : top / bottom;
  });
  if (drawn.undefinedCount > replicates / 10) {
    return refuse(
      'undefined-samples',
      `The denominator is 0 in ${drawn.undefinedCount} of ${replicates} samples drawn; bootstrap limits need one that is not.`,
    );
  }
  const leftOut = Array.from(numerator, (value, i) => (above - value) / (below - (denominator[i] ?? NaN)));
  return {
    units,
    level,
    ratio,
    replicates,
    undefinedReplicates: drawn.undefinedCount,
    signChanges,
    percentile: percentileLimits(drawn.values, level),
    accelerated: leftOut.every(Number.isFinite)
      ? acceleratedLimits(drawn.values, ratio, jackknifeAcceleration(leftOut), level)
      : null,
  };
}

function checkReplicates(replicates: number): Refusal | null {
  if (Number.isSafeInteger(replicates) && replicates >= 100 && replicates <= 1_000_000) return null;
  return refuse(
    'wrong-value',
    `replicates is ${replicates}; it must be a whole number from 100 to 1,000,000.`,
  );
}

function tooFewUnits(units: number, patients: boolean): Refusal {
  if (units < 2) return tooFew(units, patients ? 'patient' : 'pair');
  return refuse('too-few', `There are 2 ${patients ? 'patients' : 'pairs'}; the bootstrap needs at least 3.`);
}

function sum(values: Float64Array): number {
  return values.reduce((total, value) => total + value, 0);
}

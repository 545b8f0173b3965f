import {
  addFadingInformation,
  fadingInformation,
  withTauEstimated,
  type FadingInformation,
  type FadingPlace,
} from './fading-information';
import {
  addInformation,
  inverseInformation,
  patientInformation,
  type Information,
  type RegressorSums,
  type VarianceComponents,
} from './patient-information';
import type { Covariance } from './two-part-model';

/** What one more visit of one patient would teach. */
export interface RecallWorth {
  /** Variance of T with the visit over that without it, taken from 1: 0 teaches nothing, 0.1 a tenth. */
  readonly fall: number;
  /** Standard error of T now and with the visit, unit of the measure. */
  readonly standardErrorNow: number;
  readonly standardErrorThen: number;
}

/**
 * Worth of a recall: by how much var(T) would fall if a patient came for one more visit, from the information matrix of
 * the two-part model at given variance components, I = sum X_i' V_i^-1 X_i. The patient's own block is replaced by the
 * one with the further row; exact at these components.
 *
 * @param total information of all patients, this one included
 * @param sums regressor sums of the patient's visits so far; of nobody's visits for a patient not yet in the model
 * @param next the regressor at the visit
 * @returns null where T is not estimable even with the visit
 */
export function worthOfRecall(
  total: Information,
  sums: RegressorSums,
  next: number,
  components: VarianceComponents,
): RecallWorth | null {
  const longer = { count: sums.count + 1, sum: sums.sum + next, squares: sums.squares + next * next };
  const now = inverseInformation(total);
  const own = sums.count === 0 ? { lasting: 0, both: 0, passing: 0 } : patientInformation(sums, components);
  const then = inverseInformation(
    addInformation(addInformation(total, own, -1), patientInformation(longer, components)),
  );
  if (now === null || then === null) return null;
  return fallBetween(now, then);
}

/**
 * The same for the fading part where tau is estimated from the same gains, so that its doubt is in T.
 *
 * @param total information of all patients, this one included
 * @param times years of the patient's gains so far
 * @param next years of the further visit
 */
export function worthOfFadingRecall(
  total: FadingInformation,
  times: readonly number[],
  next: number,
  place: FadingPlace,
  components: VarianceComponents,
): RecallWorth | null {
  const own = fadingInformation(times, place, components);
  const longer = fadingInformation([...times, next], place, components);
  const now = inverseInformation(withTauEstimated(total));
  const then = inverseInformation(
    withTauEstimated(addFadingInformation(addFadingInformation(total, own, -1), longer)),
  );
  return now === null || then === null ? null : fallBetween(now, then);
}

function fallBetween(now: Covariance, then: Covariance): RecallWorth {
  return {
    fall: Math.max(0, 1 - then.lasting / now.lasting),
    standardErrorNow: Math.sqrt(now.lasting),
    standardErrorThen: Math.sqrt(then.lasting),
  };
}

/** The information of all patients together. */
export function totalInformation(
  patients: Iterable<RegressorSums>,
  components: VarianceComponents,
): Information {
  let total: Information = { lasting: 0, both: 0, passing: 0 };
  for (const sums of patients) total = addInformation(total, patientInformation(sums, components));
  return total;
}

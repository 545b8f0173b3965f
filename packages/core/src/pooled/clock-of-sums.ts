import { refuse, type Refusal } from '../numeric';
import { fitPartsOf, PATIENTS_NEEDED, type TwoPartFit } from '../separation';
import type { GainSums, MeasureStatistics } from './centre-statistics';
import { clockData, partColumns } from './gain-sums';

/**
 * The growth clock from patients' sums of products: the fit that the gains themselves would give, the growth curve
 * taken as known.
 *
 * @returns a refusal for fewer than six patients, fewer than six who were followed while growth changed, a measure that
 *   does not grow, and where the mixed model refuses
 */
export function clockOfSums(sums: readonly GainSums[], level: number): TwoPartFit | Refusal {
  const columns = partColumns([sums]);
  const wrong = tooFewFollowed(columns.patients, columns.followed) ?? noGrowth(columns.passing.values);
  if (wrong !== null) return wrong;
  return fitPartsOf((structure) => clockData(columns, structure), columns.patients, level);
}

/**
 * Why the two parts are not read where growth is estimated with a known error: the centre's own reading of them was refused,
 * since its growth rates are not sure enough (docs/methods.md, "Is velocity known well enough?"), so that it gave no part
 * of the curve. Null where they are sure, where their error is not known, and where the centre has too few patients anyway.
 */
export function unsureVelocity({
  doubt,
  separation,
}: Pick<MeasureStatistics, 'doubt' | 'separation'>): Refusal | null {
  if (doubt?.carried.growthReference !== 'carried' || separation.curve !== null) return null;
  const { patients, followed } = partColumns([separation.patients]);
  return tooFewFollowed(patients, followed) !== null
    ? null
    : refuse(
        'unsure-velocity',
        'How fast children grow is not known well enough to tell lasting gain from growth brought forward.',
      );
}

/** Why so few patients cannot be split into the two parts; null where they can. */
export function tooFewFollowed(patients: number, followed: number): Refusal | null {
  if (patients < PATIENTS_NEEDED) {
    return refuse(
      'too-few-patients',
      `Patients with a gain: ${patients}; at least ${PATIENTS_NEEDED} are needed to tell lasting from passing gain.`,
    );
  }
  if (followed >= PATIENTS_NEEDED) return null;
  return refuse(
    'no-change-over-time',
    `Patients followed while their growth changed: ${followed}; at least ${PATIENTS_NEEDED} are needed to tell lasting from passing gain.`,
  );
}

/** A measure without growth has a velocity of zero everywhere. */
export function noGrowth(velocity: ArrayLike<number>): Refusal | null {
  return Array.from(velocity).some((value) => value !== 0)
    ? null
    : refuse(
        'no-growth',
        'This measure does not grow without treatment, so no growth can have been brought forward.',
      );
}

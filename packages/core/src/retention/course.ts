import { valueErrorVariance, type ErrorVariances } from '../agreement';
import {
  combinationRow,
  curveCovariance,
  expectedSize,
  growthVelocity,
  individualCovariance,
  type GrowthReference,
} from '../growth';
import type { IsoDate, ReadingCounts, Sex, VisitKind } from '../records';

/** One value of the measure on a patient's course. */
export interface CoursePoint extends ReadingCounts {
  readonly kind: VisitKind;
  readonly date: IsoDate | null;
  /** Years. */
  readonly age: number;
  /** The age at which the point is read on the growth curve, years: the age itself, or moved by the stage of maturity. */
  readonly growthAge: number;
  /** SD of that move, years; 0 where the age itself is used. The same move holds for all points of a patient. */
  readonly clockSd: number;
  /** Years since the end of active treatment; null where it is not known. */
  readonly years: number | null;
  readonly value: number;
}

/** What is needed to weigh values against each other: the measure's direction, its error and its reference. */
export interface Yardstick {
  readonly direction: 1 | -1;
  readonly error: ErrorVariances;
  readonly reference: GrowthReference;
}

/** A weighted sum of a patient's values, each taken relative to the expected size at its age. Weights sum to zero. */
export type Contrast = readonly { readonly point: CoursePoint; readonly weight: number }[];

/** A contrast's estimate in the favourable direction, with its two uncertainties kept apart. */
export interface ContrastEstimate {
  readonly estimate: number;
  readonly measurementVariance: number;
  readonly growthVariance: number;
}

/** A(t) = d [ y(t) - y(0) - (g(age t) - g(age 0)) ]. */
export function gainContrast(start: CoursePoint, now: CoursePoint): Contrast {
  return [
    { point: now, weight: 1 },
    { point: start, weight: -1 },
  ];
}

/** A(t) - q A(0) for a share q: the start value enters with the weight that both gains leave to it. */
export function shareContrast(
  start: CoursePoint,
  end: CoursePoint,
  now: CoursePoint,
  share: number,
): Contrast {
  return [
    { point: now, weight: 1 },
    { point: end, weight: -share },
    { point: start, weight: share - 1 },
  ];
}

/** A contrast's estimate alone, in the favourable direction. */
export function contrastValue(contrast: Contrast, sex: Sex, { direction, reference }: Yardstick): number {
  let sum = 0;
  for (const { point, weight } of contrast) {
    sum += weight * (point.value - expectedSize(reference, sex, point.growthAge));
  }
  return direction * sum;
}

/** Estimate and variances of a contrast. */
export function estimateContrast(contrast: Contrast, sex: Sex, yardstick: Yardstick): ContrastEstimate {
  return {
    estimate: contrastValue(contrast, sex, yardstick),
    measurementVariance: measurementCovariance(contrast, contrast, yardstick),
    growthVariance: growthCovariance(contrast, contrast, sex, yardstick),
  };
}

/** Covariance of two contrasts of one patient from measurement error: shared points share their error. */
export function measurementCovariance(left: Contrast, right: Contrast, yardstick: Yardstick): number {
  let total = 0;
  for (const a of left) {
    for (const b of right) {
      if (a.point === b.point) total += a.weight * b.weight * valueErrorVariance(yardstick.error, a.point);
    }
  }
  return total;
}

/** Covariance of two contrasts of one patient from the child's own growth and the uncertainty of the curve. */
export function growthCovariance(left: Contrast, right: Contrast, sex: Sex, yardstick: Yardstick): number {
  const { reference, error } = yardstick;
  const alone = left === right;
  const leftAges = ages(left);
  const rightAges = alone ? leftAges : ages(right);
  const leftRow = combinationRow(reference, sex, leftAges);
  const rightRow = alone ? leftRow : combinationRow(reference, sex, rightAges);
  const leftReach = clockReach(left, sex, yardstick);
  const rightReach = alone ? leftReach : clockReach(right, sex, yardstick);
  return (
    individualCovariance(reference, error, leftAges, rightAges) +
    curveCovariance(reference, leftRow, rightRow) +
    leftReach * rightReach
  );
}

/** By how much a contrast moves, to first order, with one SD of its patient's place on the growth curve. */
function clockReach(contrast: Contrast, sex: Sex, { reference }: Yardstick): number {
  return contrast.reduce(
    (sum, { point, weight }) =>
      point.clockSd === 0
        ? sum
        : sum + weight * growthVelocity(reference, sex, point.growthAge) * point.clockSd,
    0,
  );
}

/** A contrast's coefficients on the growth curve; their average over patients carries the curve's error to a group. */
export function contrastRow(contrast: Contrast, sex: Sex, yardstick: Yardstick): number[] {
  return combinationRow(yardstick.reference, sex, ages(contrast));
}

function ages(contrast: Contrast): { age: number; weight: number }[] {
  return contrast.map(({ point, weight }) => ({ age: point.growthAge, weight }));
}

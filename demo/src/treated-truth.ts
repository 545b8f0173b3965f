import { skeletalEffect, type Child, type TreatmentAges } from './child';
import type { ProtocolCode } from './parameters';
import type { Treatment } from './true-values';

/** What was planted in one treated patient. Lengths in mm of Co-Gn, times in years, free of measurement error. */
export interface TreatedTruth {
  readonly code: string;
  readonly clinic: string;
  readonly protocol: ProtocolCode;
  /** T: the part of the gain that lasts. */
  readonly lasting: number;
  /** S: by how many years growth was brought forward. */
  readonly forward: number;
  /** How much faster than the mean the child grows, mm per year. */
  readonly ownRate: number;
  /** A(0) at the end records: T + S * v(age); null while still in active treatment. */
  readonly gainAtEnd: number | null;
  /** The same with the child's own growth since the start records, as adjustment by the mean curve would show it. */
  readonly adjustedGainAtEnd: number | null;
  /** First time at which T + S * v(age) lies below 75 % of A(0), up to 8 years; null when it does not. */
  readonly lossYears: number | null;
  /** Years from the end of active treatment to a second course; null when there was none. */
  readonly secondCourseYears: number | null;
}

/** The threshold share of the planted survival. */
export const TRUTH_THRESHOLD = 0.75;
/** How far ahead losses are looked for, and in what steps; years. */
export const LOSS_HORIZON = 8;
export const LOSS_STEP = 0.05;

interface PlantedPatient {
  readonly code: string;
  readonly clinic: string;
  readonly protocol: ProtocolCode;
  readonly child: Child;
  readonly treatment: NonNullable<Treatment>;
  readonly ageAtStartRecords: number;
  readonly ageAtEndRecords: number | null;
}

/** Writes down what is true of one treated patient. */
export function treatedTruth(planted: PlantedPatient): TreatedTruth {
  const { child, treatment, ageAtStartRecords, ageAtEndRecords } = planted;
  const { effect, ages } = treatment;
  const gainAt = (age: number): number => skeletalEffect(child.sex, effect, ages, age);
  const gainAtEnd = ageAtEndRecords === null ? null : gainAt(ageAtEndRecords);
  return {
    code: planted.code,
    clinic: planted.clinic,
    protocol: planted.protocol,
    lasting: effect.lasting,
    forward: effect.forward,
    ownRate: child.ownRate,
    gainAtEnd,
    adjustedGainAtEnd:
      gainAtEnd === null || ageAtEndRecords === null
        ? null
        : gainAtEnd + child.ownRate * (ageAtEndRecords - ageAtStartRecords),
    lossYears: gainAtEnd === null ? null : firstLoss(gainAt, gainAtEnd, ages),
    secondCourseYears: ages.secondCourse === null ? null : ages.secondCourse - ages.end,
  };
}

function firstLoss(gainAt: (age: number) => number, gainAtEnd: number, ages: TreatmentAges): number | null {
  if (gainAtEnd <= 0) return null;
  const steps = Math.round(LOSS_HORIZON / LOSS_STEP);
  for (let step = 1; step <= steps; step++) {
    if (gainAt(ages.end + step * LOSS_STEP) < TRUTH_THRESHOLD * gainAtEnd) return step * LOSS_STEP;
  }
  return null;
}

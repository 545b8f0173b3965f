import type { MaturityStage, Sex } from '../records';
import { describeReference, type GrowthReference } from './reference';
import { TYPICAL_PEAK_AGES, yearsAfterPeak } from './stage-place';
import { growthVelocity } from './velocity';

/**
 * SD, in years, of the age at which a stage places a child. Two readers agree on about half of the films and differ by
 * one stage, about a year, on most of the others (0.5 years for each reader); a stage lasts about a year (0.3). Derived
 * from published agreement, not itself published.
 */
export const STAGE_CLOCK_SD = 0.6;

const AGE_STEP = 0.05;
/** A peak must rise this share above the velocity at both ends of the ages. */
const PEAK_RISE = 0.02;

/** How a child's ages are moved to be read on the growth curve. */
export interface ClockShift {
  /** Added to every age of the child, years. */
  readonly years: number;
  /** SD of that shift, years. */
  readonly sd: number;
}

/** Ages as they are. */
export const BY_AGE: ClockShift = { years: 0, sd: 0 };

/**
 * By how much a child's ages are moved so that the stage read at an age lies where it usually lies on the growth curve
 * of the child's sex. The same shift holds at every age: a child who is early stays early.
 *
 * @returns null where the stage places nobody, or the curve of that sex has no peak within its ages
 */
export function maturityShift(
  reference: GrowthReference,
  sex: Sex,
  stage: MaturityStage,
  ageAtStage: number,
): ClockShift | null {
  const place = yearsAfterPeak(stage);
  const peak = peakAge(reference, sex);
  if (place === null || peak === null) return null;
  return { years: peak + place - ageAtStage, sd: STAGE_CLOCK_SD };
}

/**
 * The age at which expected growth is fastest, years; null where that is at an end of the ages covered, or no curve is
 * there. A table by stage was placed about the usual age of the peak, which is then its peak.
 */
export function peakAge(reference: GrowthReference, sex: Sex): number | null {
  if (reference.kind === 'imported-table' && reference.byStage) return TYPICAL_PEAK_AGES[sex];
  let kept = KEPT_PEAKS.get(reference);
  if (kept === undefined) {
    kept = new Map();
    KEPT_PEAKS.set(reference, kept);
  }
  let peak = kept.get(sex);
  if (peak === undefined) {
    peak = searchPeak(reference, sex);
    kept.set(sex, peak);
  }
  return peak;
}

/** Every patient asks for the peak, so it is kept as long as its curve is; nothing depends on it but time. */
const KEPT_PEAKS = new WeakMap<GrowthReference, Map<Sex, number | null>>();

function searchPeak(reference: GrowthReference, sex: Sex): number | null {
  const described = describeReference(reference);
  const ages =
    'series' in described ? described.series.find((series) => series.sex === sex)?.ages : undefined;
  if (ages === undefined) return null;
  const steps = Math.floor((ages[1] - ages[0]) / AGE_STEP);
  const speedAt = (step: number): number =>
    Math.abs(growthVelocity(reference, sex, ages[0] + step * AGE_STEP));
  let best = 0;
  let fastest = -Infinity;
  for (let step = 0; step <= steps; step++) {
    const speed = speedAt(step);
    if (speed > fastest) [best, fastest] = [step, speed];
  }
  const slowest = Math.max(speedAt(0), speedAt(steps));
  // A straight line is fastest somewhere by rounding only.
  return fastest > slowest * (1 + PEAK_RISE) ? ages[0] + best * AGE_STEP : null;
}

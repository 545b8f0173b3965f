import type { MaturityStage, Sex } from '../records';

/**
 * Where a stage of cervical vertebral maturation usually lies, years after the peak of growth of the lower jaw (before
 * it: negative). CS3 is read as half a year before the peak ("within the next year"), CS4 as a year and a half after it
 * ("one to two years ago"). CS5 and CS6 only say that the peak is at least one or two years ago and place nobody.
 * Source: Baccetti, Franchi and McNamara 2005; from memory.
 */
const YEARS_AFTER_PEAK: Readonly<Partial<Record<MaturityStage, number>>> = {
  CS1: -2,
  CS2: -1,
  CS3: -0.5,
  CS4: 1.5,
};

/**
 * Usual age, in years, at which the lower jaw grows fastest: children before their greatest increase of Co-Gn were 12.1
 * (girls) and 13.2 years (boys) on average (The Angle Orthodontist 2021;91:307, doi 10.2319/080220-676.1), at CS3 and so
 * half a year before the peak.
 */
export const TYPICAL_PEAK_AGES: Readonly<Record<Sex, number>> = { female: 12.6, male: 13.7 };

/** Years after the peak of growth at which a stage usually lies; null for CS5 and CS6, which place nobody. */
export function yearsAfterPeak(stage: MaturityStage): number | null {
  return YEARS_AFTER_PEAK[stage] ?? null;
}

import type { Sex } from '@longhold/core/records';
import { GROWTH_CURVE } from './parameters';

/** Mean growth velocity of mandibular length, mm per year, at an age in years. */
export function growthVelocity(sex: Sex, age: number): number {
  const { base, endAge, endWidth, spurt, peakAge, peakWidth } = GROWTH_CURVE[sex];
  const rise = logistic((age - peakAge) / peakWidth);
  return base * logistic((endAge - age) / endWidth) + spurt * 4 * rise * (1 - rise);
}

/** Mean growth of mandibular length since 8 years, mm: the exact integral of the velocity. */
export function growthSince8(sex: Sex, age: number): number {
  return velocityIntegral(sex, age) - velocityIntegral(sex, 8);
}

function velocityIntegral(sex: Sex, age: number): number {
  const { base, endAge, endWidth, spurt, peakAge, peakWidth } = GROWTH_CURVE[sex];
  const steady = age - endWidth * Math.log1p(Math.exp((age - endAge) / endWidth));
  return base * steady + spurt * 4 * peakWidth * logistic((age - peakAge) / peakWidth);
}

function logistic(x: number): number {
  return 1 / (1 + Math.exp(-x));
}

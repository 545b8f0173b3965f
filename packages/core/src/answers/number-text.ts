import { unitSign } from '../measures';
import type { Unit } from '../measures/definition';
import type { RatioInterval } from '../ratio';
import type { Limits } from '../retention';

/** A number with fixed decimals and a true minus sign; a rounded zero never shows a minus. */
export function numberText(value: number, decimals = 1): string {
  const fixed = value.toFixed(decimals);
  if (Number(fixed) === 0) return (0).toFixed(decimals);
  return fixed.replace('-', '\u2212');
}

/** A whole number with thousands set apart by a comma: `10,000`. */
export function countText(value: number): string {
  return numberText(value, 0).replace(/\B(?=(\d{3})+$)/g, ',');
}

/** `1 patient`, `1,200 patients`. */
export function patientsText(count: number): string {
  return count === 1 ? '1 patient' : `${countText(count)} patients`;
}

/** `1 year`, `3 years`. */
export function yearsText(years: number, decimals = 0): string {
  return years === 1 ? '1 year' : `${numberText(years, decimals)} years`;
}

/** The first so many years after treatment: `first year`, `first 3 years`. */
export function firstYearsText(years: number): string {
  return years === 1 ? 'first year' : `first ${yearsText(years)}`;
}

/** A difference of two shares, whichever is larger, in percentage points: 0.4 against 0.23 is `17 points`. */
export function pointsText(difference: number): string {
  const points = countText(100 * Math.abs(difference));
  return points === '1' ? '1 point' : `${points} points`;
}

/** A share as a whole percentage: 0.726 is `73 %`, with a space that no line breaks at. */
export function percentText(share: number): string {
  return `${numberText(100 * share, 0)}\u00a0%`;
}

/**
 * A confidence level with as many digits as it has: `95 %`, `97.5 %`, `99.9 %`. Rounded, it would name other limits than
 * those shown.
 */
export function levelText(level: number): string {
  // Fifteen digits are as many as every fraction keeps: they drop the noise of 100 times a binary fraction.
  return `${Number((100 * level).toPrecision(15))}\u00a0%`;
}

/** A value with its unit's sign: `2.3 mm`, `4.1°`. */
export function measureText(value: number, unit: Unit, decimals = 1): string {
  return `${numberText(value, decimals)}${unitSign(unit)}`;
}

/** Limits of a share in words: `61 % to 84 %`. */
export function shareLimitsText({ lower, upper }: Limits): string {
  return `${percentText(lower)} to ${percentText(upper)}`;
}

/** Fieller's set in words, also where it has no two ends. */
export function ratioIntervalText(interval: RatioInterval): string {
  switch (interval.kind) {
    case 'bounded':
      return shareLimitsText(interval);
    case 'unbounded':
      return `below ${percentText(interval.lower)} or above ${percentText(interval.upper)}`;
    case 'at-least':
      return `${percentText(interval.lower)} or more`;
    case 'at-most':
      return `${percentText(interval.upper)} or less`;
    case 'whole-line':
      return 'any share at all';
  }
}

/** A p value: three decimals, `< 0.001` below them. */
export function pText(p: number): string {
  return p < 0.001 ? '<\u00a00.001' : numberText(p, 3);
}

/** A p value with its sign: `p = 0.170`, `p < 0.001`. */
export function pEqualsText(p: number): string {
  return p < 0.001 ? `p\u00a0${pText(p)}` : `p = ${pText(p)}`;
}

/** A ratio of times or hazards: two significant figures or two decimals, whichever says more. */
export function ratioText(ratio: number): string {
  if (ratio >= 100) return countText(ratio);
  return ratio >= 10 ? numberText(ratio, 1) : numberText(ratio, 2);
}

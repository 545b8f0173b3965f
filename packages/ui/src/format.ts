import {
  countText,
  levelText,
  measureText,
  numberText,
  percentText,
  pText,
  ratioIntervalText,
  ratioText,
  shareLimitsText,
} from '@longhold/core/answers';
import type { Unit } from '@longhold/core/measures';

const NO_BREAK_SPACE = '\u00a0';
/** Shown where there is no value; screen readers read the word beside it, not this dash. */
export const NO_VALUE = '\u2013';

/* Screens and sentences write numbers the same way, so the words of core write them. */
export {
  countText as formatCount,
  levelText as formatLevel,
  measureText as formatQuantity,
  numberText as formatNumber,
  percentText as formatShare,
  pText as formatP,
  ratioText as formatRatio,
  ratioIntervalText as formatRatioInterval,
  shareLimitsText as formatShareLimits,
};

/** A number with a plus sign before positive values too: for changes and gains. */
export function formatSigned(value: number, decimals = 1): string {
  return plusSign(value, decimals) + numberText(value, decimals);
}

function plusSign(value: number, decimals: number): string {
  return value > 0 && Number(value.toFixed(decimals)) !== 0 ? '+' : '';
}

/** `1 patient`, `3 patients`; give the plural where it is not the singular with an s. */
export function formatNoun(count: number, singular: string, plural = `${singular}s`): string {
  return `${countText(count)}${NO_BREAK_SPACE}${count === 1 ? singular : plural}`;
}

/** A change with its sign and unit: `+2.3 mm`. */
export function formatChange(value: number, unit: Unit, decimals = 1): string {
  return plusSign(value, decimals) + measureText(value, unit, decimals);
}

/** The unit as a word for headings and axis names. */
export function unitWord(unit: Unit): string {
  return unit === 'deg' ? 'degrees' : 'mm';
}

/** Two limits, each written by `write`: `2.1 to 3.4`. */
export function formatLimits(
  limits: { readonly lower: number; readonly upper: number },
  write: (value: number) => string = (value) => numberText(value),
): string {
  return `${write(limits.lower)} to ${write(limits.upper)}`;
}

/** A date as `YYYY-MM-DD`, or a dash where there is none. */
export function formatDate(date: string | null): string {
  return date ?? NO_VALUE;
}

/** Years with one decimal: `3.2 years`. */
export function formatYears(years: number, decimals = 1): string {
  const text = numberText(years, decimals);
  return `${text}${NO_BREAK_SPACE}${Number(text) === 1 ? 'year' : 'years'}`;
}

/** A value that may be missing, written by `write`, else a dash. */
export function formatOr<T>(value: T | null, write: (value: T) => string): string {
  return value === null ? NO_VALUE : write(value);
}

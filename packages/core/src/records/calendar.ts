import { z } from 'zod';

/** Mean length of a year in days; the one place where days become years. */
export const DAYS_PER_YEAR = 365.25;

const MILLISECONDS_PER_DAY = 86_400_000;

/**
 * A calendar date as text, `YYYY-MM-DD` (ISO 8601), from 1900-01-01 to 2199-12-31.
 * Text, not a Date: a visit happens on a day, in no time zone.
 */
export const isoDateSchema = z
  .string()
  .regex(/^(19|20|21)\d{2}-\d{2}-\d{2}$/, 'a date as YYYY-MM-DD')
  .refine(isRealDay, 'a day that exists in the calendar, as YYYY-MM-DD');
export type IsoDate = z.infer<typeof isoDateSchema>;

function isRealDay(text: string): boolean {
  const time = Date.parse(`${text}T00:00:00Z`);
  return !Number.isNaN(time) && new Date(time).toISOString().slice(0, 10) === text;
}

/**
 * Whole days from one date to another; negative when `to` is earlier.
 * Leap days count, time zones do not (both dates are days of the calendar, without a time).
 */
export function daysBetween(from: IsoDate, to: IsoDate): number {
  return dayNumber(to) - dayNumber(from);
}

/** The date a number of whole days after `date` (before it, when negative). */
export function addDays(date: IsoDate, days: number): IsoDate {
  return new Date((dayNumber(date) + days) * MILLISECONDS_PER_DAY).toISOString().slice(0, 10);
}

/**
 * Days from 1970-01-01 to a date, counted from its digits: years begin in March, so that a leap day ends one, and 400
 * of them are 146,097 days. A study asks this of every visit many times, and `Date.parse` takes ten times as long.
 */
function dayNumber(date: IsoDate): number {
  const year = 100 * twoDigits(date, 0) + twoDigits(date, 2);
  const month = twoDigits(date, 5);
  const fromMarch = month > 2 ? year : year - 1;
  const monthsFromMarch = month > 2 ? month - 3 : month + 9;
  const leapDays = Math.floor(fromMarch / 4) - Math.floor(fromMarch / 100) + Math.floor(fromMarch / 400);
  const inYear = Math.floor((153 * monthsFromMarch + 2) / 5) + twoDigits(date, 8) - 1;
  return 365 * fromMarch + leapDays + inYear - DAYS_TO_1970;
}

/** From the first of March of the year 0 to 1970-01-01. */
const DAYS_TO_1970 = 719_468;
const ZERO = 48;

function twoDigits(text: string, at: number): number {
  return 10 * (text.charCodeAt(at) - ZERO) + text.charCodeAt(at + 1) - ZERO;
}

/** Years of 365.25 days between two dates. Compare whole days first and convert once, at the end. */
export function yearsBetween(from: IsoDate, to: IsoDate): number {
  return daysBetween(from, to) / DAYS_PER_YEAR;
}

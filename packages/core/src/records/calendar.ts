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
 * Leap days count, time zones do not (both dates are read as UTC midnights).
 */
export function daysBetween(from: IsoDate, to: IsoDate): number {
  return (Date.parse(`${to}T00:00:00Z`) - Date.parse(`${from}T00:00:00Z`)) / MILLISECONDS_PER_DAY;
}

/** The date a number of whole days after `date` (before it, when negative). */
export function addDays(date: IsoDate, days: number): IsoDate {
  return new Date(Date.parse(`${date}T00:00:00Z`) + days * MILLISECONDS_PER_DAY).toISOString().slice(0, 10);
}

/** Years of 365.25 days between two dates. Compare whole days first and convert once, at the end. */
export function yearsBetween(from: IsoDate, to: IsoDate): number {
  return daysBetween(from, to) / DAYS_PER_YEAR;
}

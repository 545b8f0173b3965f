import { z } from 'zod';
import type { IntervalTimes } from '../survival';

/** The keys by which interval-censored times come in JSON; the unit is the caller's own, the same throughout. */
export const intervalTimeKeys = {
  left: z
    .array(z.number())
    .describe('For each patient the last time known to be free of the event; 0 where none is'),
  right: z
    .array(z.number().nullable())
    .describe(
      'For each patient the first time the event is known to have happened; null where it was not seen; equal to left where the time is known exactly',
    ),
  count: z.array(z.number()).optional().describe('How many patients each entry stands for; default 1 each'),
};

/** The same with Infinity for open right ends. */
export function asIntervalTimes(given: {
  readonly left: readonly number[];
  readonly right: readonly (number | null)[];
  readonly count?: readonly number[] | undefined;
}): IntervalTimes {
  return { left: given.left, right: given.right.map((right) => right ?? Infinity), count: given.count };
}

/** Months to cosmetic deterioration in the radiotherapy arm. */
export const RADIOTHERAPY = {
  about: 'Radiotherapy arm of Finkelstein and Wolfe 1985: months to cosmetic deterioration of the breast.',
  left: [
    45, 25, 37, 6, 46, 0, 0, 26, 18, 46, 46, 24, 46, 27, 36, 7, 36, 5, 17, 46, 19, 7, 36, 17, 37, 37, 24, 0,
    40, 32, 4, 17, 33, 15, 46, 19, 11, 11, 37, 22, 38, 34, 46, 5, 36, 46,
  ],
  right: [
    null,
    37,
    null,
    10,
    null,
    5,
    7,
    40,
    null,
    null,
    null,
    null,
    null,
    34,
    null,
    16,
    44,
    11,
    null,
    null,
    35,
    14,
    48,
    25,
    44,
    null,
    null,
    8,
    null,
    null,
    11,
    25,
    null,
    null,
    null,
    26,
    15,
    18,
    null,
    null,
    null,
    null,
    null,
    12,
    null,
    null,
  ],
};

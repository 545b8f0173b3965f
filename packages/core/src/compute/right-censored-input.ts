import { z } from 'zod';

/** Columns of right-censored times as every method takes them. */
export const rightCensoredKeys = {
  time: z
    .array(z.number())
    .describe('Time of the event or of the end of observation of each row, 0 or more, in any unit'),
  event: z.array(z.number()).describe('1: the event happened at the time; 0: it had not happened by then'),
  entry: z
    .array(z.number())
    .optional()
    .describe(
      'Late entry: the row is under observation after this time only, which must come before its time',
    ),
  weights: z
    .array(z.number())
    .optional()
    .describe('How often each row was observed: whole numbers; left out: once'),
};

export const labelColumn = z.array(z.union([z.string(), z.number()]));

/** Remission in weeks of 21 children on 6-mercaptopurine and 21 on placebo. */
export const REMISSION = {
  about:
    'Weeks in remission of leukaemia on 6-mercaptopurine and on placebo (Freireich and others 1963, from memory).',
  time: [
    6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35, 1, 1, 2, 2, 3, 4, 4, 5, 5,
    8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23,
  ],
  event: [
    1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1,
    1, 1, 1, 1, 1, 1, 1,
  ] satisfies (0 | 1)[],
  group: [...new Array<string>(21).fill('6-MP'), ...new Array<string>(21).fill('placebo')],
};

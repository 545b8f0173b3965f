import { z } from 'zod';
import { isRefusal, refuse, type Refusal } from '../numeric';
import { numberGroups, type GroupLabel } from '../survival';

/** Columns of competing events as every method takes them. */
export const competingKeys = {
  time: z
    .array(z.number())
    .describe('Time of the event or of the end of observation of each row, 0 or more, in any unit'),
  cause: z
    .array(z.union([z.string(), z.number(), z.null()]))
    .describe('Which event happened at the time, a text or a number; null or 0: none had happened by then'),
  causes: z
    .array(z.union([z.string(), z.number()]))
    .min(1)
    .optional()
    .describe(
      'All causes, in the order wanted in the answer, also those that never struck; any other is refused. Left out: those that occur, in rising order',
    ),
  weights: z
    .array(z.number())
    .optional()
    .describe('How often each row was observed: whole numbers; left out: once'),
};

export const labels = z.array(z.union([z.string(), z.number()]));

/** Causes by number. */
export interface NumberedCauses {
  /** Label of cause 1, 2, ... */
  readonly labels: readonly GroupLabel[];
  /** For each row 0, or the number of its cause. */
  readonly numbers: readonly number[];
}

/** Numbers the labels of causes. */
export function numberCauses(
  cause: readonly (GroupLabel | null)[],
  named: readonly GroupLabel[] | undefined,
): NumberedCauses | Refusal {
  const known = named === undefined ? occurring(cause) : checkNamed(named);
  if (isRefusal(known)) return known;
  const numberOf = new Map<GroupLabel | null, number>([
    [null, 0],
    [0, 0],
    ...known.map((label, j) => [label, j + 1] as const),
  ]);
  const stranger = cause.findIndex((label) => !numberOf.has(label));
  if (stranger >= 0) {
    return refuse(
      'unknown-cause',
      `cause[${stranger}] is ${cause[stranger]}; it must be null or 0 (none), or one of: ${known.join(', ')}.`,
    );
  }
  return { labels: known, numbers: cause.map((label) => numberOf.get(label) ?? 0) };
}

function occurring(cause: readonly (GroupLabel | null)[]): readonly GroupLabel[] | Refusal {
  const unclear = cause.findIndex((label) => label === '0' || label === '');
  if (unclear >= 0) {
    return refuse(
      'wrong-value',
      `cause[${unclear}] is the text "${cause[unclear]}"; write null or the number 0 where no event had happened.`,
    );
  }
  const struck = cause.flatMap((label) => (label === null || label === 0 ? [] : [label]));
  const numbered = numberGroups('cause', struck, struck.length);
  return isRefusal(numbered) ? numbered : numbered.labels;
}

function checkNamed(named: readonly GroupLabel[]): readonly GroupLabel[] | Refusal {
  const wrong = named.findIndex((label, j) => label === 0 || named.indexOf(label) < j);
  if (wrong < 0) return named;
  const why = named[wrong] === 0 ? '0 means that no event had happened' : 'each cause is named once';
  return refuse('wrong-value', `causes[${wrong}] is ${named[wrong]}; ${why}.`);
}

/** Invented. */
export const TREATED_TEETH = {
  about:
    'Invented: years until the gain was lost or treatment was taken up again for another reason, in two groups of ten patients.',
  time: [0.9, 1.4, 1.4, 2.1, 2.6, 3.0, 3.3, 4.2, 5.0, 5.0, 0.6, 1.1, 1.4, 1.9, 2.2, 2.2, 3.7, 4.1, 4.6, 5.0],
  cause: [
    'lost',
    'treated again',
    null,
    'lost',
    null,
    'treated again',
    null,
    'lost',
    null,
    null,
    'lost',
    'lost',
    'treated again',
    'lost',
    'lost',
    null,
    'treated again',
    'lost',
    null,
    null,
  ],
  group: [...new Array<string>(10).fill('with retainer'), ...new Array<string>(10).fill('without')],
};

import { z } from 'zod';
import { isRefusal, refuse, type Refusal } from '../numeric';
import {
  cumulativeIncidence,
  incidenceReadings,
  numberGroups,
  numbersAtRisk,
  type CompetingTimes,
  type GroupLabel,
} from '../survival';
import { competingKeys, labels, numberCauses, TREATED_TEETH } from './competing-events-input';
import { defineMethod } from './method';

const inputSchema = z.strictObject({
  ...competingKeys,
  entry: z
    .array(z.number())
    .optional()
    .describe(
      'Late entry: the row is under observation after this time only, which must come before its time',
    ),
  group: labels.optional().describe('Curves for each group; left out: those of all rows'),
  from: z
    .number()
    .nonnegative()
    .default(0)
    .describe(
      'Time at which the curves start, among those who had no event by then; with late entry choose one at which enough are at risk',
    ),
  at: z.array(z.number()).default([]).describe('Times at which the curves are read'),
  scale: z
    .enum(['log-log', 'complementary-log-log', 'log', 'plain'])
    .default('log-log')
    .describe(
      'Scale on which the pointwise limits of an incidence F are symmetric: log(-log F), log(-log(1 - F)), log F or F',
    ),
  variance: z
    .enum(['greenwood', 'aalen', 'jackknife'])
    .default('greenwood')
    .describe(
      'greenwood: multinomial events, as survfit of R gives it without late entry; aalen: independent counts, as cuminc of R; jackknife: infinitesimal jackknife, as survfit of R with late entry',
    ),
  level: z.number().gt(0).lt(1).default(0.95).describe('Confidence level of the limits'),
});

type Input = z.output<typeof inputSchema>;

/** Cumulative incidences of competing events, for each group. */
export const cumulativeIncidenceMethod = defineMethod({
  name: 'cumulative-incidence',
  summary:
    'Aalen-Johansen cumulative incidence of each of several competing events, with event-free survival beside it, also with late entry',
  source:
    'Aalen and Johansen 1978; Andersen, Borgan, Gill and Keiding 1993, section IV.4; Gray 1988 (variance aalen); Choudhury 2002 (limits)',
  input: inputSchema,
  answer: {
    curves:
      'One for each group in rising order of label. steps: columns of all curves (time, atRisk, censored), then eventFree (survival and its limits) and causes (for each its label, events in all, and columns events, incidence, standardError, lower, upper; limits are null at incidence 0 and 1). at: probabilities at the times asked for, null before the curves start and after the last observation, and the number at risk. emptiedAt: with late entry, a time at which all then at risk had an event although others were observed later; else null',
    from: 'Time at which the curves start, given no event by then',
    level: 'Confidence level of the limits',
    scale: 'Scale on which the limits of incidences are symmetric',
    variance: 'How variances were estimated',
  },
  example: {
    about: TREATED_TEETH.about,
    input: {
      time: TREATED_TEETH.time,
      cause: TREATED_TEETH.cause,
      group: TREATED_TEETH.group,
      at: [1, 3],
    },
  },
  run: (input) => {
    const causes = numberCauses(input.cause, input.causes);
    if (isRefusal(causes)) return causes;
    const groups = rowsByGroup(input);
    if (isRefusal(groups)) return groups;
    const curves = [];
    for (const { group, rows } of groups) {
      const curve = curveOf(columnsOf(input, causes.numbers, rows), causes.labels, input);
      if (isRefusal(curve)) {
        return group === null ? curve : refuse(curve.refused, `${group}: ${curve.message}`);
      }
      curves.push({ group, ...curve });
    }
    const { from, level, scale, variance } = input;
    return { curves, from, level, scale, variance };
  },
});

interface GroupRows {
  readonly group: GroupLabel | null;
  readonly rows: readonly number[];
}

function rowsByGroup({ time, cause, entry, weights, group }: Input): GroupRows[] | Refusal {
  for (const [name, column] of Object.entries({ cause, entry, weights })) {
    if (column === undefined || column.length === time.length) continue;
    return refuse('wrong-length', `${name} has ${column.length} entries where ${time.length} are needed.`);
  }
  if (group === undefined) return [{ group: null, rows: [...time.keys()] }];
  const numbered = numberGroups('group', group, time.length);
  if (isRefusal(numbered)) return numbered;
  if (time.length === 0) return refuse('no-rows', 'time is empty; at least one row is needed.');
  const rows = numbered.labels.map((): number[] => []);
  numbered.numbers.forEach((place, row) => rows[place]?.push(row));
  return numbered.labels.map((label, place) => ({ group: label, rows: rows[place] ?? [] }));
}

function columnsOf(
  { time, entry, weights }: Input,
  causes: readonly number[],
  rows: readonly number[],
): CompetingTimes {
  const picked = (column: readonly number[]): number[] => rows.map((row) => column[row] ?? NaN);
  return {
    time: picked(time),
    cause: picked(causes),
    entry: entry === undefined ? undefined : picked(entry),
    weights: weights === undefined ? undefined : picked(weights),
  };
}

function curveOf(columns: CompetingTimes, labels: readonly GroupLabel[], options: Input) {
  const { at, from, level, scale, variance } = options;
  const causes = Math.max(1, labels.length);
  const curves = cumulativeIncidence(columns, { causes, from, level, scale, variance });
  if (isRefusal(curves)) return curves;
  const atRisk = numbersAtRisk(columns, at);
  if (isRefusal(atRisk)) return atRisk;
  const { observations, emptiedAt, time, censored, eventFree } = curves;
  return {
    observations,
    emptiedAt,
    steps: {
      time,
      atRisk: curves.atRisk,
      censored,
      eventFree,
      causes: labels.map((label, j) => ({ ...curves.causes[j], cause: label })),
    },
    at: incidenceReadings(curves, at).map((reading, i) => ({
      time: reading.time,
      atRisk: atRisk[i] ?? 0,
      eventFree: reading.eventFree,
      causes: labels.map((cause, j) => ({ cause, ...reading.causes[j] })),
    })),
  };
}

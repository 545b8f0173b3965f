import { z } from 'zod';
import { isRefusal, refuse, type Refusal } from '../numeric';
import {
  kaplanMeier,
  numberGroups,
  numbersAtRisk,
  restrictedMean,
  survivalQuantiles,
  survivalReadings,
  type GroupLabel,
  type RightCensoredTimes,
} from '../survival';
import { defineMethod } from './method';
import { labelColumn, REMISSION, rightCensoredKeys } from './right-censored-input';

const inputSchema = z.strictObject({
  ...rightCensoredKeys,
  group: labelColumn.optional().describe('A curve for each group; left out: one curve of all rows'),
  at: z.array(z.number()).default([]).describe('Times at which the curve is read'),
  quantiles: z
    .array(z.number())
    .default([0.25, 0.5, 0.75])
    .describe('Shares with the event for which the time is asked; 0.5 is the median'),
  restrictedTo: z
    .number()
    .optional()
    .describe('Time up to which the mean time free of the event is computed; left out: none'),
  scale: z
    .enum(['log-log', 'log', 'plain'])
    .default('log-log')
    .describe('Scale on which the pointwise limits are symmetric'),
  level: z.number().gt(0).lt(1).default(0.95).describe('Confidence level of the limits'),
});

type Input = z.output<typeof inputSchema>;

/** Kaplan-Meier curves with all that can be read off them. */
export const kaplanMeierMethod = defineMethod({
  name: 'kaplan-meier',
  summary:
    "Kaplan-Meier curves with Greenwood's errors, quantiles, restricted mean and numbers at risk, also with late entry",
  source:
    'Kaplan and Meier 1958; Greenwood 1926; Brookmeyer and Crowley 1982 (quantiles); Klein and Moeschberger 2003, sections 4.2 to 4.6',
  input: inputSchema,
  answer: {
    curves:
      'One for each group in rising order of label. steps: columns of the curve (time, atRisk, events, censored, survival, standardError, lower, upper; limits are null at survival 1 and 0). at: the curve at the times asked for, null after the last observation. quantiles: null where the curve or its limit does not fall so far. restrictedMean: null where not asked for. emptiedAt: with late entry, a time at which all then at risk had the event although others were observed later; else null',
    level: 'Confidence level of the limits',
    scale: 'Scale on which the pointwise limits are symmetric',
  },
  example: {
    about: REMISSION.about,
    input: {
      time: REMISSION.time,
      event: REMISSION.event,
      group: REMISSION.group,
      at: [5, 10, 20],
      restrictedTo: 23,
    },
  },
  run: (input) => {
    const groups = rowsByGroup(input);
    if (isRefusal(groups)) return groups;
    const curves = [];
    for (const { group, rows } of groups) {
      const curve = curveOf(columnsOf(input, rows), input);
      if (isRefusal(curve))
        return group === null ? curve : refuse(curve.refused, `${group}: ${curve.message}`);
      curves.push({ group, ...curve });
    }
    return { curves, level: input.level, scale: input.scale };
  },
});

interface GroupRows {
  readonly group: GroupLabel | null;
  readonly rows: readonly number[];
}

function rowsByGroup({ time, group }: Input): GroupRows[] | Refusal {
  if (group === undefined) return [{ group: null, rows: [...time.keys()] }];
  const numbered = numberGroups('group', group, time.length);
  if (isRefusal(numbered)) return numbered;
  if (time.length === 0) return refuse('no-rows', 'time is empty; at least one row is needed.');
  const rows = numbered.labels.map((): number[] => []);
  numbered.numbers.forEach((place, row) => rows[place]?.push(row));
  return numbered.labels.map((label, place) => ({ group: label, rows: rows[place] ?? [] }));
}

/** Rows of one group. A column that is too short is left so, for the check of its length to find. */
function columnsOf(input: Input, rows: readonly number[]): RightCensoredTimes | Refusal {
  const { time, event, entry, weights } = input;
  for (const [name, column] of Object.entries({ event, entry, weights })) {
    if (column === undefined || column.length === time.length) continue;
    return refuse('wrong-length', `${name} has ${column.length} entries where ${time.length} are needed.`);
  }
  const picked = (column: readonly number[]): number[] => rows.map((row) => column[row] ?? NaN);
  return {
    time: picked(time),
    event: picked(event),
    entry: entry === undefined ? undefined : picked(entry),
    weights: weights === undefined ? undefined : picked(weights),
  };
}

function curveOf(
  columns: RightCensoredTimes | Refusal,
  { at, quantiles, restrictedTo, level, scale }: Input,
) {
  if (isRefusal(columns)) return columns;
  const curve = kaplanMeier(columns, { level, scale });
  if (isRefusal(curve)) return curve;
  const found = survivalQuantiles(curve, quantiles);
  if (isRefusal(found)) return found;
  const mean = restrictedTo === undefined ? null : restrictedMean(curve, restrictedTo);
  if (isRefusal(mean)) return mean;
  const atRisk = numbersAtRisk(columns, at);
  if (isRefusal(atRisk)) return atRisk;
  const readings = survivalReadings(curve, at);
  if (isRefusal(readings)) return readings;
  const { observations, observedEvents, emptiedAt, level: _level, scale: _scale, ...steps } = curve;
  return {
    observations,
    events: observedEvents,
    emptiedAt,
    steps,
    at: readings.map((reading, i) => ({ ...reading, atRisk: atRisk[i] ?? 0 })),
    quantiles: found,
    restrictedMean: mean,
  };
}

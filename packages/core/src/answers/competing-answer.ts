import { isRefusal, resampledVariance, twoSidedNormal, type Refusal } from '../numeric';
import {
  cumulativeIncidence,
  exactLimits,
  grayTest,
  incidenceReadings,
  type CensoredInterval,
  type IncidenceReading,
  type ProbabilityReading,
} from '../survival';
import type { PatientOutcome } from './answer';
import { drawsBeside, type DrawnLosses } from './drawn-losses';
import { groupLabel, medianGain } from './grouping';
import type { OutcomeQuestion } from './question';

/** Years at which the incidences are read off. */
const YEARS = [1, 2, 3, 5, 10];

/** How often by a year the gain was found lost, and how often patients were treated again before that. */
export interface CompetingYear {
  readonly year: number;
  /** Neither by then. Null values where nobody was followed so long. */
  readonly neither: ProbabilityReading;
  readonly lost: ProbabilityReading;
  readonly treatedAgain: ProbabilityReading;
  /** Followed to that time without either. */
  readonly atRisk: number;
}

/** One step of both incidences: from `time` (years) on they have these values. */
export interface CompetingPoint {
  readonly time: number;
  readonly lost: number;
  readonly treatedAgain: number;
}

/**
 * Loss of the gain and a second treatment as competing events, at the times at which they were found: the visit that
 * found the loss, the day of the second treatment. Those times are conventional, late by up to a visit's interval.
 */
export interface CompetingAnswer {
  readonly patients: number;
  readonly lost: number;
  readonly treatedAgain: number;
  readonly points: readonly CompetingPoint[];
  readonly atYears: readonly CompetingYear[];
  /** Gray's test of the incidence of loss, and of second treatments, over the question's groups; a refusal says why not. */
  readonly groupTests: {
    readonly lost: { readonly chiSquared: number; readonly df: number; readonly p: number } | Refusal;
    readonly treatedAgain: { readonly chiSquared: number; readonly df: number; readonly p: number } | Refusal;
  };
}

interface Ended {
  readonly time: number;
  readonly cause: 0 | 1 | 2;
  readonly group: string | null;
}

/**
 * Cumulative incidences (Aalen and Johansen 1978) of loss and of a second treatment; null where nobody is in the risk set.
 * To the variance of each is added how much it varies under drawn curves and errors.
 *
 * @param drawn the same patients' losses under other curves and errors; null where none are known
 */
export function competingAnswer(
  outcomes: readonly PatientOutcome[],
  { groupBy, level }: OutcomeQuestion,
  drawn: DrawnLosses | null,
): CompetingAnswer | null {
  const dividing = medianGain(outcomes.filter(({ loss }) => loss !== null));
  const ended = outcomes.flatMap(({ loss, ...outcome }) =>
    loss === null
      ? []
      : [
          {
            ...endOf(loss, outcome.treatedAgainAt),
            group: groupLabel(outcome, groupBy, dividing),
          },
        ],
  );
  if (ended.length === 0) return null;
  const columns = { time: ended.map(({ time }) => time), cause: ended.map(({ cause }) => cause) };
  const curves = cumulativeIncidence(columns, { causes: 2, level });
  if (isRefusal(curves)) return null;
  const readings = withDoubt(incidenceReadings(curves, YEARS), drawnReadings(outcomes, drawn), level);
  const [lost, again] = curves.causes;
  return {
    patients: ended.length,
    lost: ended.filter(({ cause }) => cause === 1).length,
    treatedAgain: ended.filter(({ cause }) => cause === 2).length,
    points: Array.from(curves.time, (time, i) => ({
      time,
      lost: lost?.incidence[i] ?? NaN,
      treatedAgain: again?.incidence[i] ?? NaN,
    })).filter((_, i) => (lost?.events[i] ?? 0) + (again?.events[i] ?? 0) > 0),
    atYears: readings.map(({ time, eventFree, causes }) => {
      const atRisk = ended.filter((one) => one.time >= time).length;
      const bounded = (reading = UNKNOWN): ProbabilityReading => exactAtEnds(reading, atRisk, level);
      return {
        year: time,
        neither: bounded(eventFree),
        lost: bounded(causes[0]),
        treatedAgain: bounded(causes[1]),
        atRisk,
      };
    }),
    groupTests: { lost: compareGroups(ended, 1), treatedAgain: compareGroups(ended, 2) },
  };
}

const UNKNOWN: ProbabilityReading = { probability: null, standardError: null, lower: null, upper: null };

/** Where nothing, or everything, has happened no variance speaks: exact limits of those still followed, as for the curve. */
function exactAtEnds(reading: ProbabilityReading, atRisk: number, level: number): ProbabilityReading {
  const { probability, lower, standardError } = reading;
  if (probability === null || lower !== null || (probability > 0 && probability < 1)) return reading;
  const exact = exactLimits(probability, atRisk, level);
  const reach = twoSidedNormal(level) * (standardError ?? 0);
  return {
    ...reading,
    lower: Math.max(0, probability - Math.hypot(probability - exact.lower, probability === 1 ? reach : 0)),
    upper: Math.min(1, probability + Math.hypot(exact.upper - probability, probability === 0 ? reach : 0)),
  };
}

/** The incidences at the years under each draw of curve and error. */
function drawnReadings(
  outcomes: readonly PatientOutcome[],
  drawn: DrawnLosses | null,
): readonly (readonly IncidenceReading[])[] {
  if (drawn === null) return [];
  const againAt = new Map(outcomes.map(({ code, treatedAgainAt }) => [code, treatedAgainAt]));
  return drawsBeside(drawn).flatMap(({ left, right }) => {
    const ended = drawn.codes.flatMap((code, i) => {
      const [from, to] = [left[i] ?? NaN, right[i] ?? NaN];
      const loss = { left: from, right: to === Infinity ? null : to };
      return Number.isNaN(from) ? [] : [endOf(loss, againAt.get(code) ?? null)];
    });
    const columns = { time: ended.map(({ time }) => time), cause: ended.map(({ cause }) => cause) };
    const curves = cumulativeIncidence(columns, { causes: 2 });
    return isRefusal(curves) ? [] : [incidenceReadings(curves, YEARS)];
  });
}

/** Standard errors and limits with the spread over draws added by squares; unchanged where there are none. */
function withDoubt(
  readings: readonly IncidenceReading[],
  drawn: readonly (readonly IncidenceReading[])[],
  level: number,
): IncidenceReading[] {
  return readings.map((reading, year) => {
    const widened = (pick: (one: IncidenceReading) => ProbabilityReading | undefined): ProbabilityReading => {
      const own = pick(reading) ?? UNKNOWN;
      const values = drawn.flatMap((one) => {
        const again = one[year];
        return (again === undefined ? null : pick(again)?.probability) ?? [];
      });
      return widenedBy(own, Math.sqrt(resampledVariance(values)), level);
    };
    return {
      time: reading.time,
      eventFree: widened(({ eventFree }) => eventFree),
      causes: reading.causes.map((_, cause) => widened(({ causes }) => causes[cause])),
    };
  });
}

function widenedBy(
  { probability, standardError, lower, upper }: ProbabilityReading,
  sd: number,
  level: number,
): ProbabilityReading {
  if (probability === null || sd === 0) return { probability, standardError, lower, upper };
  const reach = twoSidedNormal(level) * sd;
  return {
    probability,
    standardError: standardError === null ? null : Math.hypot(standardError, sd),
    lower: lower === null ? null : Math.max(0, probability - Math.hypot(probability - lower, reach)),
    upper: upper === null ? null : Math.min(1, probability + Math.hypot(upper - probability, reach)),
  };
}

/** A loss that was found before a second treatment is a loss; a second treatment before any is the other event. */
function endOf({ left, right }: CensoredInterval, treatedAgainAt: number | null): Omit<Ended, 'group'> {
  if (right !== null) return { time: right, cause: 1 };
  if (treatedAgainAt !== null && treatedAgainAt > 0) return { time: treatedAgainAt, cause: 2 };
  return { time: left, cause: 0 };
}

function compareGroups(ended: readonly Ended[], cause: 1 | 2): CompetingAnswer['groupTests']['lost'] {
  const known = ended.flatMap(({ group, ...rest }) => (group === null ? [] : [{ group, ...rest }]));
  const test = grayTest(
    {
      time: known.map(({ time }) => time),
      cause: known.map((one) => one.cause),
      group: known.map(({ group }) => group),
    },
    { cause },
  );
  if (isRefusal(test)) return test;
  return { chiSquared: test.chiSquared, df: test.degreesOfFreedom, p: test.p };
}

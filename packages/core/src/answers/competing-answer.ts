import { isRefusal, type Refusal } from '../numeric';
import { cumulativeIncidence, grayTest, incidenceReadings, type ProbabilityReading } from '../survival';
import type { PatientOutcome } from './answer';
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

/** Cumulative incidences (Aalen and Johansen 1978) of loss and of a second treatment; null where nobody is in the risk set. */
export function competingAnswer(
  outcomes: readonly PatientOutcome[],
  { groupBy, level }: OutcomeQuestion,
): CompetingAnswer | null {
  const dividing = medianGain(outcomes.filter(({ loss }) => loss !== null));
  const ended = outcomes.flatMap((outcome) => endOf(outcome, groupLabel(outcome, groupBy, dividing)) ?? []);
  if (ended.length === 0) return null;
  const columns = { time: ended.map(({ time }) => time), cause: ended.map(({ cause }) => cause) };
  const curves = cumulativeIncidence(columns, { causes: 2, level });
  if (isRefusal(curves)) return null;
  const readings = incidenceReadings(curves, YEARS);
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
    atYears: readings.map(({ time, eventFree, causes }) => ({
      year: time,
      neither: eventFree,
      lost: causes[0] ?? UNKNOWN,
      treatedAgain: causes[1] ?? UNKNOWN,
      atRisk: ended.filter((one) => one.time >= time).length,
    })),
    groupTests: { lost: compareGroups(ended, 1), treatedAgain: compareGroups(ended, 2) },
  };
}

const UNKNOWN: ProbabilityReading = { probability: null, standardError: null, lower: null, upper: null };

/** A loss that was found before a second treatment is a loss; a second treatment before any is the other event. */
function endOf({ loss, treatedAgainAt }: PatientOutcome, group: string | null): Ended | null {
  if (loss === null) return null;
  if (loss.right !== null) return { time: loss.right, cause: 1, group };
  if (treatedAgainAt !== null && treatedAgainAt > 0) return { time: treatedAgainAt, cause: 2, group };
  return { time: loss.left, cause: 0, group };
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

import { lastNotAfter } from '../right-censored/step-search';
import type { CauseIncidence, CumulativeIncidence } from './aalen-johansen';

/** A probability read off at one time. What is null on the curve is null here. */
export interface ProbabilityReading {
  readonly probability: number | null;
  readonly standardError: number | null;
  readonly lower: number | null;
  readonly upper: number | null;
}

/** All curves read off at one time. */
export interface IncidenceReading {
  readonly time: number;
  readonly eventFree: ProbabilityReading;
  /** One for each cause, in the order of their numbers. */
  readonly causes: readonly ProbabilityReading[];
}

const UNKNOWN: ProbabilityReading = { probability: null, standardError: null, lower: null, upper: null };
const AT_START = { standardError: 0, lower: null, upper: null };

/**
 * The curves at given times, in any order. Before the curves start all probabilities are null, and after the last time
 * too, unless event-free survival has fallen to 0: nobody was observed so long.
 */
export function incidenceReadings(curves: CumulativeIncidence, at: ArrayLike<number>): IncidenceReading[] {
  const last = curves.time.length - 1;
  const known = curves.eventFree.survival[last] === 0 ? Infinity : (curves.time[last] ?? NaN);
  return Array.from(at, (time) => {
    if (!(time >= curves.from && time <= known))
      return { time, eventFree: UNKNOWN, causes: curves.causes.map(() => UNKNOWN) };
    const step = lastNotAfter(curves.time, time);
    const { survival, ...limits } = curves.eventFree;
    return {
      time,
      eventFree: reading(survival, limits, step, 1),
      causes: curves.causes.map((cause) => reading(cause.incidence, cause, step, 0)),
    };
  });
}

function reading(
  probability: Float64Array,
  { standardError, lower, upper }: Pick<CauseIncidence, 'standardError' | 'lower' | 'upper'>,
  step: number,
  atStart: number,
): ProbabilityReading {
  if (step < 0) return { probability: atStart, ...AT_START };
  return {
    probability: probability[step] ?? NaN,
    standardError: standardError[step] ?? null,
    lower: lower[step] ?? null,
    upper: upper[step] ?? null,
  };
}

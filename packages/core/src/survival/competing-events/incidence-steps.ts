import { visitMoments } from '../right-censored/moments';
import { distinctTimes, orderTimes } from '../right-censored/times';
import type { CompetingTimes } from './competing-times';

/** One cause at every distinct time. */
export interface CauseSteps {
  readonly cause: number;
  readonly observedEvents: number;
  readonly events: Float64Array;
  readonly incidence: Float64Array;
}

/** Counts and estimates at every distinct time, rising. */
export interface IncidenceSteps {
  readonly observations: number;
  readonly time: Float64Array;
  readonly atRisk: Float64Array;
  readonly censored: Float64Array;
  /** Events of all causes. */
  readonly allEvents: Float64Array;
  readonly eventFree: Float64Array;
  readonly causes: readonly CauseSteps[];
  /** A time, other than the last, at which event-free survival falls to 0; null where there is none. */
  readonly emptiedAt: number | null;
}

/**
 * Event-free survival and the cumulative incidence of each cause. Source: Aalen and Johansen 1978.
 *
 * @param columns checked
 */
export function incidenceSteps(columns: CompetingTimes, causes: number): IncidenceSteps {
  const { time, cause, entry, weights } = columns;
  const rows = orderTimes({ time, kind: cause, entry, weights });
  const size = distinctTimes(rows);
  const column = (): Float64Array => new Float64Array(size);
  const steps = {
    time: column(),
    atRisk: column(),
    censored: column(),
    allEvents: column(),
    eventFree: column(),
  };
  const curves = Array.from({ length: causes }, (_, j) => emptyCause(j + 1, size));
  let survival = 1;
  let observations = 0;
  let events = 0;
  let emptiedAt: number | null = null;
  let step = 0;
  visitMoments(rows, 1, causes, ({ time: now, atRisk, counts }) => {
    const n = atRisk[0] ?? NaN;
    let all = 0;
    for (let j = 1; j <= causes; j++) all += counts[j] ?? NaN;
    const before = survival;
    if (all > 0) survival = all === n ? 0 : survival * (1 - all / n);
    if (all === n && before > 0) emptiedAt = now;
    steps.time[step] = now;
    steps.atRisk[step] = n;
    steps.censored[step] = counts[0] ?? NaN;
    steps.allEvents[step] = all;
    steps.eventFree[step] = survival;
    events += all;
    const soFar = { events, survival };
    for (const curve of curves) addToCause(curve, step, counts[curve.cause] ?? NaN, before / n, soFar);
    observations += all + (counts[0] ?? NaN);
    step++;
  });
  return {
    ...steps,
    observations,
    causes: curves,
    emptiedAt: emptiedAt === steps.time[size - 1] ? null : emptiedAt,
  };
}

interface GrowingCause extends CauseSteps {
  observedEvents: number;
}

function emptyCause(cause: number, size: number): GrowingCause {
  return { cause, observedEvents: 0, events: new Float64Array(size), incidence: new Float64Array(size) };
}

/**
 * Adds one step. As long as no other cause has struck, the incidence is what event-free survival has lost: then it
 * is one less the Kaplan-Meier curve without rounding.
 */
function addToCause(
  curve: GrowingCause,
  step: number,
  events: number,
  rise: number,
  soFar: { readonly events: number; readonly survival: number },
): void {
  curve.events[step] = events;
  curve.observedEvents += events;
  curve.incidence[step] =
    curve.observedEvents === soFar.events
      ? 1 - soFar.survival
      : Math.min(1, (curve.incidence[step - 1] ?? 0) + rise * events);
}

import type { CompetingTimes } from './competing-times';
import type { CauseSteps, IncidenceSteps } from './incidence-steps';
import { addStep, noCovariances, type IncidenceVariance } from './incidence-variance';
import { jackknifeTerms } from './jackknife-terms';

/** Standard errors at every distinct time. */
export interface IncidenceErrors {
  readonly incidence: Float64Array;
  readonly eventFree: Float64Array;
}

/** Standard errors of the cumulative incidence of one cause and of event-free survival. */
export function incidenceErrors(
  columns: CompetingTimes,
  steps: IncidenceSteps,
  cause: CauseSteps,
  variance: IncidenceVariance,
): IncidenceErrors {
  const size = steps.time.length;
  const errors = { incidence: new Float64Array(size), eventFree: new Float64Array(size) };
  // Without late entry the jackknife adds nothing.
  const terms =
    variance === 'jackknife' && columns.entry !== undefined ? jackknifeTerms(columns, steps, cause) : null;
  const covariances = noCovariances();
  for (let s = 0; s < size; s++) {
    const step = {
      survivalBefore: s === 0 ? 1 : (steps.eventFree[s - 1] ?? NaN),
      atRisk: steps.atRisk[s] ?? NaN,
      allEvents: steps.allEvents[s] ?? NaN,
      causeEvents: cause.events[s] ?? NaN,
    };
    if (step.allEvents > 0) addStep(covariances, step, variance);
    const more = terms?.[s];
    if (more !== undefined) {
      covariances.survival += more.survival;
      covariances.both += more.both;
      covariances.incidence += more.incidence;
    }
    errors.incidence[s] = Math.sqrt(Math.max(0, covariances.incidence));
    errors.eventFree[s] = Math.sqrt(Math.max(0, covariances.survival));
  }
  return errors;
}

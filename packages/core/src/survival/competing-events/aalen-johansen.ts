import { isRefusal, twoSidedNormal, type Refusal } from '../../numeric';
import { checkLevel, probabilityLimits } from '../right-censored';
import { countCauses, type CompetingRefusal, type CompetingTimes } from './competing-times';
import { incidenceErrors } from './incidence-errors';
import { incidenceLimits, type IncidenceScale } from './incidence-limits';
import { incidenceSteps, type CauseSteps, type IncidenceSteps } from './incidence-steps';
import type { IncidenceVariance } from './incidence-variance';
import { startingLater } from './later-start';

/** The cumulative incidence of one cause; one entry for each distinct time of the curves in every column. */
export interface CauseIncidence {
  /** Number of the cause. */
  readonly cause: number;
  /** Rows that ended with it, each counted as often as it was observed. */
  readonly observedEvents: number;
  readonly events: Float64Array;
  /** Probability that the event has happened and was of this cause, from the time on up to the next. */
  readonly incidence: Float64Array;
  /** 0 before the first event of any cause; null where the incidence is 1, for it is undefined there. */
  readonly standardError: readonly (number | null)[];
  /** Pointwise limits; null where the incidence is 0 or 1, for the estimated variance says nothing there. */
  readonly lower: readonly (number | null)[];
  readonly upper: readonly (number | null)[];
}

/** The share that no event of any cause has met yet: a Kaplan-Meier curve of all events together. */
export interface EventFreeSurvival {
  readonly survival: Float64Array;
  /** Greenwood's, or with `jackknife` the jackknife's; null where survival is 0. */
  readonly standardError: readonly (number | null)[];
  /** Pointwise limits; null where survival is 1 or 0. */
  readonly lower: readonly (number | null)[];
  readonly upper: readonly (number | null)[];
}

/**
 * Cumulative incidences of competing events. They and the event-free survival sum to one at every time (to
 * rounding). `time` holds every distinct time of an event or of a censoring, rising.
 */
export interface CumulativeIncidence {
  /** Rows, each counted as often as it was observed. */
  readonly observations: number;
  /** Confidence level of the limits. */
  readonly level: number;
  readonly scale: IncidenceScale;
  readonly variance: IncidenceVariance;
  /** Time at which the curves start, given no event by then. */
  readonly from: number;
  readonly time: Float64Array;
  /** Under observation just before the time. */
  readonly atRisk: Float64Array;
  readonly censored: Float64Array;
  readonly eventFree: EventFreeSurvival;
  /** One for each cause, in the order of their numbers. */
  readonly causes: readonly CauseIncidence[];
  /**
   * With late entry: a time at which everyone then under observation had an event although others were observed
   * later. The curves stay level from there on and say nothing of those. Null where there is no such time.
   */
  readonly emptiedAt: number | null;
}

/** What may be chosen. */
export interface IncidenceOptions {
  /**
   * Time at which the curves start, among those who have had no event by then; 0 or more. With late entry choose one
   * at which enough are at risk, for a curve that starts with a handful has limits that cover too rarely. Default 0.
   */
  readonly from?: number | undefined;
  /** How many causes there are, 1 to 100; default: the highest number among the rows. */
  readonly causes?: number | undefined;
  /** Confidence level in (0, 1); default 0.95. */
  readonly level?: number | undefined;
  /** Default `log-log`, which stays inside (0, 1). The limits of event-free survival are then log-log as well. */
  readonly scale?: IncidenceScale | undefined;
  /** Default `greenwood`: the one that agrees with Greenwood's where there is a single cause. */
  readonly variance?: IncidenceVariance | undefined;
}

/**
 * Aalen-Johansen estimate of the cumulative incidence of each of several competing causes: at each time the
 * event-free survival just before it times the share of those at risk who have the event of the cause.
 * Sources: Aalen and Johansen 1978; Kalbfleisch and Prentice 1980, section 7.2; Andersen, Borgan, Gill and Keiding
 * 1993, section IV.4; Choudhury 2002 (limits).
 */
export function cumulativeIncidence(
  allColumns: CompetingTimes,
  options: IncidenceOptions = {},
): CumulativeIncidence | CompetingRefusal | Refusal<'wrong-level'> {
  const { level = 0.95, scale = 'log-log', variance = 'greenwood', from = 0 } = options;
  const causes = countCauses(allColumns, options.causes ?? null);
  if (typeof causes !== 'number') return causes;
  const fault = checkLevel(level);
  if (fault !== null) return fault;
  const columns = from === 0 ? allColumns : startingLater(allColumns, from);
  if (isRefusal(columns)) return columns;
  const steps = incidenceSteps(columns, causes);
  const { time, atRisk, censored, observations, emptiedAt } = steps;
  const multiplier = twoSidedNormal(level);
  return {
    observations,
    level,
    scale,
    variance,
    from,
    time,
    atRisk,
    censored,
    eventFree: describedSurvival(columns, steps, { variance, multiplier, scale }),
    causes: steps.causes.map((cause) =>
      describedCause(columns, steps, cause, { variance, multiplier, scale }),
    ),
    emptiedAt,
  };
}

interface ErrorChoices {
  readonly variance: IncidenceVariance;
  readonly multiplier: number;
  readonly scale: IncidenceScale;
}

function describedCause(
  columns: CompetingTimes,
  steps: IncidenceSteps,
  cause: CauseSteps,
  { variance, multiplier, scale }: ErrorChoices,
): CauseIncidence {
  const errors = incidenceErrors(columns, steps, cause, variance).incidence;
  const limits = Array.from(cause.incidence, (incidence, s) =>
    incidenceLimits(incidence, errors[s] ?? NaN, multiplier, scale),
  );
  return {
    ...cause,
    standardError: Array.from(errors, (error, s) => (cause.incidence[s] === 1 ? null : error)),
    lower: limits.map((one) => one?.lower ?? null),
    upper: limits.map((one) => one?.upper ?? null),
  };
}

function describedSurvival(
  columns: CompetingTimes,
  steps: IncidenceSteps,
  { variance, multiplier, scale }: ErrorChoices,
): EventFreeSurvival {
  const survival = steps.eventFree;
  // Only the event-free part of the errors is used, which is the same whatever the cause.
  const anyCause: CauseSteps = {
    cause: 1,
    observedEvents: 0,
    events: steps.allEvents,
    incidence: survival.map((value) => 1 - value),
  };
  const errors = incidenceErrors(columns, steps, anyCause, variance === 'aalen' ? 'greenwood' : variance);
  const survivalScale = scale === 'complementary-log-log' ? 'log-log' : scale;
  const limits = Array.from(survival, (value, s) =>
    probabilityLimits(value, errors.eventFree[s] ?? NaN, multiplier, survivalScale),
  );
  return {
    survival,
    standardError: Array.from(errors.eventFree, (error, s) => (survival[s] === 0 ? null : error)),
    lower: limits.map((one) => one?.lower ?? null),
    upper: limits.map((one) => one?.upper ?? null),
  };
}

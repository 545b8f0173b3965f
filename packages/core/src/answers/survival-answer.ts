import { READ_ONCE, valueErrorVariance } from '../agreement';
import { isRefusal, normalQuantile, sortedQuantile } from '../numeric';
import type { VisitKind } from '../records';
import type { Yardstick } from '../retention';
import {
  exactLimits,
  falseLossProbability,
  kaplanMeier,
  numberAtRisk,
  restrictedMeanBounds,
  survivalAt,
  turnbull,
  turnbullLimits,
  type CensoredInterval,
  type KaplanMeierCurve,
  type LossRule,
  type TurnbullFit,
} from '../survival';
import type { CurvePoint, PatientOutcome, SurvivalAnswer, SurvivalAtYear } from './answer';
import type { OutcomeQuestion } from './question';

/** Years at which survival is read off; those that are customarily reported are given even when nobody is left. */
const YEARS = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
const CUSTOMARY_YEARS = [1, 2, 3, 5, 10];
/** A mean to a year at which fewer are followed hangs on single patients. */
const ENOUGH_FOR_MEAN = 10;

const RULES: readonly LossRule[] = ['any-visit', 'confirmed', 'beyond-error'];

/** Progress and stop, as the whole answer offers them. */
export interface SurvivalHooks {
  readonly progress: (fraction: number) => void;
  readonly shouldStop: () => boolean;
}

/**
 * Survival of the gain from the loss intervals of those in the risk set: Turnbull's curve with pointwise limits,
 * and beside it the conventional Kaplan-Meier curve, which takes the visit that found the loss for its time.
 *
 * @returns null where nobody is in the risk set; `stopped` where the hooks said so
 */
export function survivalAnswer(
  outcomes: readonly PatientOutcome[],
  question: OutcomeQuestion,
  yardstick: Yardstick,
  hooks: SurvivalHooks,
): SurvivalAnswer | null | 'stopped' {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  const times = inRiskSet.flatMap(({ loss }) => (loss === null ? [] : [loss]));
  if (times.length === 0) return null;
  const turnbullPart = intervalCensoredCurve(times, question, hooks);
  if (turnbullPart === 'stopped') return 'stopped';
  const curve = conventionalCurve(times, question.level);
  return {
    patients: times.length,
    losses: times.filter(({ right }) => right !== null).length,
    treatedAgain: inRiskSet.filter(({ treatedAgainAt }) => treatedAgainAt !== null).length,
    turnbull: turnbullPart,
    kaplanMeier: {
      points: conventionalPoints(curve),
      atYears: YEARS.map((year) => readKaplanMeier(curve, times, year)).filter(isShown),
    },
    byRule: ruleRows(inRiskSet, question.level),
    falseLossesExpected: inRiskSet.reduce((sum, outcome) => sum + falseLoss(outcome, question, yardstick), 0),
  };
}

/**
 * The interval-censored curve of some loss intervals with its pointwise limits, read off at whole years.
 *
 * @param until years that the restricted mean counts; null for none
 */
export function intervalCensoredCurve(
  times: readonly CensoredInterval[],
  options: Pick<OutcomeQuestion, 'level' | 'resamples' | 'seed'>,
  hooks: SurvivalHooks,
  until = restrictionOf(times),
): SurvivalAnswer['turnbull'] | 'stopped' {
  const fit = turnbull(times);
  const drops = fit.intervals.filter(({ mass, right }) => mass > 1e-12 && right !== Infinity);
  const quarters = until === null ? [] : quarterYears(until);
  const at = [...drops.flatMap(({ left, right }) => [left, right]), ...YEARS, ...quarters];
  const firstYear = at.length - quarters.length - YEARS.length;
  const atRisk = at.map((time) => numberAtRisk(times, time));
  const limits = turnbullLimits(times, fit, at, atRisk, options, hooks);
  if (limits === null) return 'stopped';
  const points = at.map((time, i) => ({
    time,
    ...survivalAt(fit, time),
    lower: limits.lower[i] ?? NaN,
    upper: limits.upper[i] ?? NaN,
  }));
  return {
    intervals: fit.intervals.filter(({ mass }) => mass > 1e-12),
    points: points.slice(0, firstYear).map(toCurvePoint),
    atYears: YEARS.map((year, i) => readTurnbull(fit, times, year, points[firstYear + i])).filter(isShown),
    converged: fit.converged,
    iterations: fit.iterations,
    optimalityGap: fit.optimalityGap,
    logLikelihood: fit.logLikelihood,
    resamples: limits.resamples,
    restrictedMean:
      until === null
        ? null
        : restrictedMeanOf(fit, until, limits.draws.slice(firstYear + YEARS.length), options.level),
  };
}

/** The last customary year at which ten patients are still followed; null where there is none. */
export function restrictionOf(times: readonly CensoredInterval[]): number | null {
  const years = CUSTOMARY_YEARS.filter((year) => numberAtRisk(times, year) >= ENOUGH_FOR_MEAN);
  return years[years.length - 1] ?? null;
}

function quarterYears(until: number): number[] {
  return Array.from({ length: 4 * until }, (_, i) => (i + 1) / 4);
}

/** Mean years with the gain, of the first `until`: the area under the curve, with percentiles of that of the resamples. */
function restrictedMeanOf(
  fit: TurnbullFit,
  until: number,
  draws: readonly Float64Array[],
  level: number,
): NonNullable<SurvivalAnswer['turnbull']['restrictedMean']> {
  const resamples = draws[0]?.length ?? 0;
  // Trapezia over quarter years; the curve starts at 1.
  const areas = Float64Array.from({ length: resamples }, (_, resample) =>
    draws.reduce(
      (area, values, i) => area + ((values[resample] ?? NaN) + (draws[i - 1]?.[resample] ?? 1)) / 8,
      0,
    ),
  ).sort();
  const { mean, lower, upper } = restrictedMeanBounds(fit, until);
  const tail = (1 - level) / 2;
  return {
    until,
    estimate: mean,
    undefinedWithin: { lower, upper },
    limits: { lower: sortedQuantile(areas, tail), upper: sortedQuantile(areas, 1 - tail) },
  };
}

/** Survival at the customary years under each of the loss rules, with exact limits for the number still followed. */
function ruleRows(outcomes: readonly PatientOutcome[], level: number): SurvivalAnswer['byRule'] {
  return RULES.map((rule) => {
    const times = outcomes.flatMap(({ lossByRule }) => (lossByRule === null ? [] : [lossByRule[rule]]));
    const fit = turnbull(times);
    return {
      rule,
      losses: times.filter(({ right }) => right !== null).length,
      atYears: CUSTOMARY_YEARS.map((year): SurvivalAtYear => {
        const atRisk = numberAtRisk(times, year);
        if (atRisk === 0) return nothingKnown(year);
        const { survival, undefinedWithin } = survivalAt(fit, year);
        return {
          year,
          estimate: survival,
          limits: exactLimits(survival, atRisk, level),
          atRisk,
          undefinedWithin,
        };
      }),
    };
  });
}

function toCurvePoint({ time, survival, lower, upper }: CurvePoint): CurvePoint {
  return { time, survival, lower, upper };
}

/**
 * Kaplan-Meier with the visit that found the loss as its time.
 * @throws RangeError where a loss interval has no time, which none may
 */
function conventionalCurve(times: readonly CensoredInterval[], level: number): KaplanMeierCurve {
  const curve = kaplanMeier(
    {
      time: times.map(({ left, right }) => right ?? left),
      event: times.map(({ right }) => (right === null ? 0 : 1)),
    },
    { level },
  );
  if (isRefusal(curve)) throw new RangeError(curve.message);
  return curve;
}

function conventionalPoints(curve: KaplanMeierCurve): CurvePoint[] {
  return Array.from(curve.time, (time, step) => ({
    time,
    survival: curve.survival[step] ?? NaN,
    ...conventionalLimits(curve, step),
  })).filter((_, step) => (curve.events[step] ?? 0) > 0);
}

/** Greenwood's variance is not defined once everybody is lost; the exact limits of the last number at risk stand in. */
function conventionalLimits(curve: KaplanMeierCurve, step: number): { lower: number; upper: number } {
  const lower = curve.lower[step] ?? null;
  const upper = curve.upper[step] ?? null;
  if (lower !== null && upper !== null) return { lower, upper };
  return exactLimits(curve.survival[step] ?? NaN, curve.atRisk[step] ?? NaN, curve.level);
}

function readTurnbull(
  fit: TurnbullFit,
  times: readonly CensoredInterval[],
  year: number,
  point: CurvePoint | undefined,
): SurvivalAtYear {
  const atRisk = numberAtRisk(times, year);
  if (atRisk === 0 || point === undefined) return nothingKnown(year);
  const { survival, undefinedWithin } = survivalAt(fit, year);
  return {
    year,
    estimate: survival,
    limits: { lower: point.lower, upper: point.upper },
    atRisk,
    undefinedWithin,
  };
}

function readKaplanMeier(
  curve: KaplanMeierCurve,
  times: readonly CensoredInterval[],
  year: number,
): SurvivalAtYear {
  const atRisk = numberAtRisk(times, year);
  if (atRisk === 0) return nothingKnown(year);
  const step = curve.time.filter((time) => time <= year).length - 1;
  const estimate = curve.survival[step] ?? 1;
  const limits = estimate === 1 ? exactLimits(1, atRisk, curve.level) : conventionalLimits(curve, step);
  return { year, estimate, limits, atRisk, undefinedWithin: null };
}

function isShown({ year, atRisk }: SurvivalAtYear): boolean {
  return atRisk > 0 || CUSTOMARY_YEARS.includes(year);
}

function nothingKnown(year: number): SurvivalAtYear {
  return { year, estimate: null, limits: null, atRisk: 0, undefinedWithin: null };
}

/** Chance that error alone would show this patient as lost, had the whole estimated gain been kept. */
function falseLoss(outcome: PatientOutcome, question: OutcomeQuestion, { error }: Yardstick): number {
  const { threshold, rule, level } = question;
  const gain = outcome.gain?.estimate ?? NaN;
  const varianceAt = (kind: VisitKind): number =>
    valueErrorVariance(error, outcome.visits.find((visit) => visit.kind === kind) ?? READ_ONCE);
  const q = threshold.kind === 'share' ? threshold.share : 0;
  const visits = outcome.visits.filter(
    ({ kind, years, status }) => kind === 'follow_up' && (years ?? 0) > 0 && status?.margin !== null,
  );
  const course = {
    trueMargin: threshold.kind === 'share' ? (1 - q) * gain : gain - threshold.amount,
    sharedSd: Math.sqrt(q ** 2 * varianceAt('end_of_active') + (1 - q) ** 2 * varianceAt('start')),
    ownSds: visits.map((visit) => Math.sqrt(valueErrorVariance(error, visit))),
  };
  return falseLossProbability(course, rule, normalQuantile(level));
}

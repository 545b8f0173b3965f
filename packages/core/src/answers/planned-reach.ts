import type { RatioInterval } from '../ratio';
import {
  expectedDesign,
  inverseInformation,
  lastingShare,
  limitsAlongTau,
  multiplierOf,
  PATIENTS_NEEDED,
  plannedDf,
  plannedTaus,
  shareAlongTau,
  tauRange,
  withCurveUncertainty,
  withPrecision,
  type Covariance,
  type CurveAtTime,
  type FadingPartFit,
  type GrowthClockFit,
  type PartEstimate,
  type VisitPattern,
} from '../separation';
import { componentsOf } from './patient-worth';

/** Half-widths of the intervals that a planned study is expected to give. */
export interface PlannedReach {
  /** Of T, unit of the measure; null where such a study is expected to give no limits, or too few followed for a fit. */
  readonly lasting: number | null;
  /** Of the lasting share; null where its limits are expected to be open. */
  readonly share: number | null;
}

/** The half-widths for a number of patients, from what one patient is expected to tell. */
export type ReachOfStudy = (patients: number) => PlannedReach;

const NOTHING: PlannedReach = { lasting: null, share: null };

/** Whether so many patients are expected to hold as many followed ones as a fit asks for. */
function enoughFollowed(patterns: readonly VisitPattern<number>[]): (patients: number) => boolean {
  const followed = patterns.reduce(
    (sum, { visits, share }) => (visits.some((visit) => visit !== visits[0]) ? sum + share : sum),
    0,
  );
  // Shares are sums of products: all of them together may miss 1 by rounding.
  return (patients) => patients * followed > PATIENTS_NEEDED - 1e-9;
}

/**
 * A study read by the growth clock: the present estimates with the errors and the degrees of freedom that the design is
 * expected to have, and limits formed as an answer forms them (Student's quantile, the curve's part, Fieller's set).
 *
 * @param atEnd mean velocity at the end of active treatment, and how it hangs on the curve
 * @param patterns velocities at the visits
 */
export function clockReach(
  fit: GrowthClockFit,
  atEnd: { readonly x: number; readonly curve: CurveAtTime | null },
  level: number,
  patterns: readonly VisitPattern<number>[],
): ReachOfStudy {
  const design = expectedDesign(patterns, (velocity) => velocity, componentsOf(fit));
  const one = inverseInformation(design.parts);
  const enough = enoughFollowed(patterns);
  return (patients) => {
    const df = one === null || !enough(patients) ? null : plannedDf(design, patients, fit.structure);
    if (one === null || df === null) return NOTHING;
    const planned = (part: PartEstimate, variance: number, own: number): PartEstimate =>
      withPrecision(part, { standardError: Math.sqrt(variance / patients), df: own }, level);
    const parts = withCurveUncertainty(
      {
        lasting: planned(fit.lasting, one.lasting, df.lasting),
        passing: planned(fit.passing, one.passing, df.passing),
        covariance: shared(one, patients),
      },
      fit.transfer,
      level,
    );
    return {
      lasting: halfOf(parts.lasting),
      share: halfOfRatio(lastingShare(parts, atEnd.x, level, atEnd.curve).interval),
    };
  };
}

/**
 * A study read by the fading part: limits over all taus that it is expected to leave open, with Student's quantile on the
 * smaller degrees of freedom of T and P. None where it is expected not to bound tau.
 *
 * @param patterns years of the visits
 */
export function fadingReach(
  fit: FadingPartFit,
  level: number,
  patterns: readonly VisitPattern<number>[],
): ReachOfStudy {
  const components = componentsOf(fit);
  const design = expectedDesign(patterns, (years) => Math.exp(-years / fit.tau), components);
  const longest = patterns.reduce((most, { visits }) => Math.max(most, ...visits), 0);
  const planned = { tau: fit.tau, lasting: fit.lasting.estimate, passing: fit.passing.estimate };
  const range = tauRange(longest);
  // A tau that is looked for no longer cannot be planned with.
  const points = Math.log(fit.tau) < range[1] ? plannedTaus(patterns, planned, components, range) : [];
  const enough = enoughFollowed(patterns);
  return (patients) => {
    const df = enough(patients) ? plannedDf(design, patients, fit.structure) : null;
    const last = points[points.length - 1];
    if (df === null || last === undefined) return NOTHING;
    const multiplier = multiplierOf(Math.min(df.lasting, df.passing), level);
    if (!(2 * patients * last.fall > multiplier ** 2)) return NOTHING;
    const along = {
      multiplier,
      points: points
        .filter(({ fall }) => 2 * patients * fall <= multiplier ** 2)
        .map((point) => ({
          ...point,
          fall: patients * point.fall,
          covariance: shared(point.covariance, patients),
        })),
    };
    return {
      lasting: halfOf(limitsAlongTau(along, () => [1, 0])),
      share: halfOfRatio(shareAlongTau(along)),
    };
  };
}

/** The covariance of the means of so many patients. */
function shared({ lasting, both, passing }: Covariance, patients: number): Covariance {
  return { lasting: lasting / patients, both: both / patients, passing: passing / patients };
}

/** Half the distance of two limits; null where one is missing. */
export function halfOf({
  lower,
  upper,
}: {
  readonly lower: number | null;
  readonly upper: number | null;
}): number | null {
  return lower === null || upper === null || !Number.isFinite(upper - lower) ? null : (upper - lower) / 2;
}

function halfOfRatio(interval: RatioInterval): number | null {
  return interval.kind === 'bounded' ? halfOf(interval) : null;
}

import type { TauPoint } from './along-tau';
import type { FadingInformation } from './fading-information';
import { inverseInformation, regressorSums, weighing, type VarianceComponents } from './patient-information';
import { expectedInformation, type VisitPattern } from './planning';
import { fading, type TauRange } from './tau-profile';

/** The fading part that a study is planned about: how fast it fades (years), T and P (unit of the measure). */
export interface PlannedFading {
  readonly tau: number;
  readonly lasting: number;
  readonly passing: number;
}

/** Taus on each side of the planned one. */
const STEPS = 24;

/**
 * What a study is expected to find with tau held at values from the lowest to the highest of a range, as if of one
 * patient: gains lie at their planned means, T + P exp(-t / tau_0), with the planned variances, and T and P are fitted to
 * them with another tau by generalised least squares. The log-likelihood falls by half the weighed sum of squares that is
 * left. For n patients the fall is n times, the covariance an n-th of this. That with another tau other variances would be
 * fitted is left out, so tau is expected to be known a little less well than it will be.
 *
 * Taus lie by the third power of even steps about the planned one: close where many patients leave few open.
 *
 * @param patterns years of the visits
 * @param range log of the shortest and longest tau that a fit would look at
 * @returns taus at which T and P can be told from such visits, rising
 */
export function plannedTaus(
  patterns: readonly VisitPattern<number>[],
  planned: PlannedFading,
  components: VarianceComponents,
  [low, high]: TauRange,
): TauPoint[] {
  const middle = Math.log(planned.tau);
  return Array.from({ length: 2 * STEPS + 1 }, (_, i) => (i / STEPS - 1) ** 3).flatMap((part) => {
    const logTau = middle + (part < 0 ? part * (middle - low) : part * (high - middle));
    return pointAt(patterns, planned, components, Math.exp(logTau));
  });
}

function pointAt(
  patterns: readonly VisitPattern<number>[],
  planned: PlannedFading,
  components: VarianceComponents,
  tau: number,
): TauPoint[] {
  // The third column is what fades at the planned speed, so its coefficient is P.
  const all = expectedInformation(patterns, (times) =>
    columnsInformation(times, planned.tau, tau, components),
  );
  const covariance = inverseInformation(all.parts);
  if (covariance === null) return [];
  const { lasting: a, both: b, passing: c } = covariance;
  // The rest of the third column after the first two: its own sum of squares less what they explain.
  const left =
    all.tau - (a * all.lastingTau ** 2 + 2 * b * all.lastingTau * all.passingTau + c * all.passingTau ** 2);
  return [
    {
      tau,
      fall: (planned.passing ** 2 * Math.max(0, left)) / 2,
      lasting: planned.lasting + planned.passing * (a * all.lastingTau + b * all.passingTau),
      passing: planned.passing * (b * all.lastingTau + c * all.passingTau),
      covariance,
    },
  ];
}

/** X' V^-1 X of one patient with X = [1, exp(-t / tau), exp(-t / tau_0)] and V that of the planned tau_0. */
function columnsInformation(
  times: readonly number[],
  plannedTau: number,
  tau: number,
  components: VarianceComponents,
): FadingInformation {
  const own = fading(times, plannedTau);
  const columns = [times.map(() => 1), fading(times, tau), own];
  const weigh = weighing(regressorSums(own), components);
  const { betweenPatients: g, residualVariance } = components;
  const product = (left: readonly number[], right: readonly number[]): number =>
    left.reduce((sum, value, i) => sum + value * (right[i] ?? NaN), 0);
  const sums = columns.map(
    (column) => [column.reduce((sum, value) => sum + value, 0), product(column, own)] as const,
  );
  const entry = (i: number, j: number): number => {
    const [plain, timesOwn] = sums[i] ?? [NaN, NaN];
    const [p, q] = weigh(...(sums[j] ?? [NaN, NaN]));
    const shared = plain * (g.lasting * p + g.both * q) + timesOwn * (g.both * p + g.passing * q);
    return (product(columns[i] ?? [], columns[j] ?? []) - shared) / residualVariance;
  };
  return {
    parts: { lasting: entry(0, 0), both: entry(0, 1), passing: entry(1, 1) },
    lastingTau: entry(0, 2),
    passingTau: entry(1, 2),
    tau: entry(2, 2),
  };
}

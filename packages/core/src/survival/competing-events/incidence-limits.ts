import { probabilityLimits, type ProbabilityLimits, type ProbabilityScale } from '../right-censored';

/**
 * Scale on which the limits of a cumulative incidence F are symmetric: log(-log F), log F, F itself, or
 * log(-log(1 - F)), which for a single cause gives the log-log limits of the Kaplan-Meier curve.
 */
export type IncidenceScale = ProbabilityScale | 'complementary-log-log';

/**
 * Limits of a cumulative incidence. Sources: Marubini and Valsecchi 1995, section 10.3; Choudhury 2002.
 *
 * @param multiplier two-sided normal multiplier of the level
 * @returns null at 0 and at 1, where the estimated variance says nothing
 */
export function incidenceLimits(
  incidence: number,
  standardError: number,
  multiplier: number,
  scale: IncidenceScale,
): ProbabilityLimits | null {
  if (scale !== 'complementary-log-log')
    return probabilityLimits(incidence, standardError, multiplier, scale);
  const free = probabilityLimits(1 - incidence, standardError, multiplier, 'log-log');
  return free === null ? null : { lower: 1 - free.upper, upper: 1 - free.lower };
}

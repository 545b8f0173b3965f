import { refuse, type Refusal } from '../../numeric';

/**
 * How much an event time counts, n being at risk, d having the event and S the Kaplan-Meier curve of all groups of
 * the stratum together:
 * - `log-rank`: 1;
 * - `gehan-breslow`: n;
 * - `tarone-ware`: the square root of n;
 * - `peto-peto`: the product of 1 - d / (n + 1) over the times up to and with this one;
 * - `modified-peto-peto`: the same times n / (n + 1);
 * - `rho` and `gamma`: Fleming and Harrington's S(t-)^rho (1 - S(t-))^gamma. `rho` 1 and `gamma` 0 is what
 *   survdiff(rho = 1) of R computes; it differs from `peto-peto` in the small.
 */
export type LogRankWeighting =
  | 'log-rank'
  | 'gehan-breslow'
  | 'tarone-ware'
  | 'peto-peto'
  | 'modified-peto-peto'
  | { readonly rho: number; readonly gamma: number };

/** A refusal of powers below 0 or not finite, or null. */
export function checkWeighting(weighting: LogRankWeighting): Refusal<'wrong-weighting'> | null {
  if (typeof weighting === 'string') return null;
  const { rho, gamma } = weighting;
  if (rho >= 0 && gamma >= 0 && rho + gamma < Infinity) return null;
  return refuse('wrong-weighting', `rho is ${rho} and gamma ${gamma}; both must be finite, 0 or more.`);
}

/** Weighs the event times of one stratum, to be called for each in rising order. */
export function eventTimeWeight(weighting: LogRankWeighting): (n: number, d: number) => number {
  let survivalBefore = 1;
  let petoSurvival = 1;
  if (weighting === 'log-rank') return () => 1;
  return (n, d) => {
    const before = survivalBefore;
    survivalBefore *= 1 - d / n;
    petoSurvival *= 1 - d / (n + 1);
    switch (weighting) {
      case 'gehan-breslow':
        return n;
      case 'tarone-ware':
        return Math.sqrt(n);
      case 'peto-peto':
        return petoSurvival;
      case 'modified-peto-peto':
        return (petoSurvival * n) / (n + 1);
      default:
        return before ** weighting.rho * (1 - before) ** weighting.gamma;
    }
  };
}

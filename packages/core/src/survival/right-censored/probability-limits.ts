/** How the pointwise interval of a probability is built. `log-log` stays inside (0, 1) and is the default. */
export type ProbabilityScale = 'log-log' | 'log' | 'plain';

/** Limits of a probability. */
export interface ProbabilityLimits {
  readonly lower: number;
  readonly upper: number;
}

/**
 * Limits of a probability p with standard error s: symmetric in p (`plain`), log p (`log`) or log(-log p)
 * (`log-log`), cut at 0 and 1.
 * Sources: Kalbfleisch and Prentice 1980 (log-log of survival); Choudhury 2002 (log-log of incidence).
 *
 * @param multiplier two-sided normal multiplier of the level
 * @returns null at 0 and at 1, where the estimated variance says nothing
 */
export function probabilityLimits(
  probability: number,
  standardError: number,
  multiplier: number,
  scale: ProbabilityScale,
): ProbabilityLimits | null {
  if (!(probability > 0 && probability < 1)) return null;
  const reach = multiplier * standardError;
  switch (scale) {
    case 'plain':
      return { lower: Math.max(0, probability - reach), upper: Math.min(1, probability + reach) };
    case 'log': {
      const factor = Math.exp(reach / probability);
      return { lower: probability / factor, upper: Math.min(1, probability * factor) };
    }
    case 'log-log': {
      const log = Math.log(probability);
      const factor = Math.exp(-reach / (probability * log));
      return { lower: Math.exp(log * factor), upper: Math.exp(log / factor) };
    }
  }
}

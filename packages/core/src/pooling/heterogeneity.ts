import { chiSquaredUpperTail } from '../numeric';
import { qProfileInterval, type QProfileInterval } from './q-profile';
import { regressionAt, residualDegrees, type EffectsModel } from './weighted-regression';

/** How far the studies differ beyond their own sampling errors. */
export interface Heterogeneity {
  /** Cochran's Q: the sum of squared residuals, each weighted with 1 / variance. */
  readonly q: number;
  readonly degreesOfFreedom: number;
  /** Upper tail of chi-squared: that Q is so large where all true means are as the columns describe. */
  readonly p: number;
  /** tau^2 in use, in the square of the estimates' unit. */
  readonly tauSquared: number;
  /** Its Q-profile interval. */
  readonly tauSquaredInterval: QProfileInterval;
  /** I^2: share, 0 to 1, of tau^2 in tau^2 plus the typical variance within studies. */
  readonly iSquared: number;
  /** I^2 at the limits of tau^2. */
  readonly iSquaredInterval: Limits;
  /** H^2: tau^2 plus the typical variance, as a multiple of the typical variance. */
  readonly hSquared: number;
  /** H^2 at the limits of tau^2. */
  readonly hSquaredInterval: Limits;
  /** I^2 from Q alone, (Q - df) / Q and not below 0, whatever tau^2 is in use. */
  readonly iSquaredFromQ: number;
  /** H^2 from Q alone, Q / df. Below 1 the estimates lie closer together than chance would put them. */
  readonly hSquaredFromQ: number;
}

/** Two ends of an interval. */
export interface Limits {
  readonly lower: number;
  readonly upper: number;
}

/**
 * Q with its test, and tau^2 as a share of the total variance. The typical variance is df / trace(P) at tau^2 = 0; with
 * DerSimonian and Laird's tau^2 both ways to I^2 give the same number.
 * Sources: Cochran 1954; Higgins and Thompson 2002 (I^2, H^2, typical variance); Viechtbauer 2007 (intervals).
 */
export function heterogeneityOf(model: EffectsModel, tauSquared: number, level: number): Heterogeneity {
  const degrees = residualDegrees(model);
  const { squares: q, diagonal } = regressionAt(model, 0);
  const typical = degrees / diagonal.reduce((sum, value) => sum + value, 0);
  const tauSquaredInterval = qProfileInterval(model, level);
  const { lower, upper } = tauSquaredInterval;
  return {
    q,
    degreesOfFreedom: degrees,
    p: chiSquaredUpperTail(q, degrees),
    tauSquared,
    tauSquaredInterval,
    iSquared: tauSquared / (typical + tauSquared),
    iSquaredInterval: { lower: lower / (typical + lower), upper: upper / (typical + upper) },
    hSquared: 1 + tauSquared / typical,
    hSquaredInterval: { lower: 1 + lower / typical, upper: 1 + upper / typical },
    iSquaredFromQ: q > degrees ? (q - degrees) / q : 0,
    hSquaredFromQ: q / degrees,
  };
}

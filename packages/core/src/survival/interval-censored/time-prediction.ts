import { bilinear, designRow, isRefusal, refuse, twoSidedNormal, type Refusal } from '../../numeric';
import { errorDistribution } from './error-distributions';
import { rowTurned } from './time-design';
import type { TimeRegression, WithLimits } from './time-regression';

/** What a regression of times predicts for one subject. */
export interface TimePrediction {
  /** Probability of no event by each of the times asked for. Limits symmetric in the standardised time, so never outside [0, 1]. */
  readonly survival: readonly (WithLimits & { readonly time: number })[];
  /** Times by which each probability of the event is reached. Limits symmetric in the logarithm. */
  readonly quantiles: readonly (WithLimits & {
    readonly probability: number;
    readonly logStandardError: number;
  })[];
}

/**
 * Predicted survival and quantiles of one subject with pointwise limits by the delta method. They hold for the
 * curve, not for the time of one patient. Source: Kalbfleisch and Prentice 2002, section 3.4.
 *
 * @param subject for each term of the model its number or level
 * @param times above 0, in the unit of the data
 * @param probabilities in (0, 1), of the event having happened
 */
export function predictTimes(
  fit: TimeRegression,
  subject: Readonly<Record<string, string | number>>,
  times: readonly number[],
  probabilities: readonly number[] = [0.5],
): TimePrediction | Refusal {
  const wrongTime = times.find((time) => !(time > 0 && time < Infinity));
  if (wrongTime !== undefined)
    return refuse('wrong-value', `A time is ${wrongTime}; it must be a finite number above 0.`);
  const wrongProbability = probabilities.find((probability) => !(probability > 0 && probability < 1));
  if (wrongProbability !== undefined) {
    return refuse('wrong-value', `A probability is ${wrongProbability}; it must lie between 0 and 1.`);
  }
  const given = designRow(fit.design, subject);
  if (isRefusal(given)) return given;
  const row = rowTurned(fit.turned.design, given);
  const error = errorDistribution(fit.distribution);
  const scale = fit.scale.estimate;
  const centre = fit.turned.coefficients.reduce((sum, value, j) => sum + value * (row[j] ?? 0), 0);
  const multiplier = twoSidedNormal(fit.level);
  const survivalAtZ = (z: number): number => Math.exp(error.logSurvival(z));
  return {
    survival: times.map((time) => {
      const z = (Math.log(time) - centre) / scale;
      const reach = multiplier * (standardErrorOf(fit, row, z * scale) / scale);
      return {
        time,
        estimate: survivalAtZ(z),
        lower: survivalAtZ(z + reach),
        upper: survivalAtZ(z - reach),
      };
    }),
    quantiles: probabilities.map((probability) => {
      const z = error.quantile(probability);
      const logStandardError = standardErrorOf(fit, row, z * scale);
      const reach = multiplier * logStandardError;
      const logTime = centre + scale * z;
      const finite = (value: number): number => Math.min(Math.exp(value), Number.MAX_VALUE);
      return {
        probability,
        estimate: finite(logTime),
        lower: finite(logTime - reach),
        upper: finite(logTime + reach),
        logStandardError,
      };
    }),
  };
}

/** Standard error of x'beta + w sigma, where `alongScale` is its derivative in log sigma, w sigma; `row` is turned. */
function standardErrorOf({ turned }: TimeRegression, row: Float64Array, alongScale: number): number {
  const size = Math.sqrt(turned.covariance.length);
  const direction = [...row, alongScale].slice(0, size);
  return Math.sqrt(Math.max(0, bilinear(direction, turned.covariance, direction)));
}

import { patientRows, type CurveRows } from './curve-uncertainty';
import { inverseInformation, regressorSums, weighing } from './patient-information';
import type { GainSeries, TwoPartFit } from './two-part-model';

/**
 * Below this the growth clock is not read. Simulated with tables of 30 to 2,000 children a mean, intervals of 95 %
 * covered T and S in some 90 % from here on, in 80 % just below, and in a fifth where growth was all brought forward
 * and the table poor (docs/validation.md). Chosen by those simulations; no source.
 */
export const LEAST_VELOCITY_RELIABILITY = 0.8;

/**
 * How much of the information on S lies in the velocity itself and not in its error, at most 1.
 *
 * S is told by how velocity differs between gains, weighed as x' P x with P = V^-1 less what T takes (V^-1 1 (1' V^-1
 * 1)^-1 1' V^-1). If the reference's coefficients are off by delta with covariance C, velocities are off by D delta, which alone
 * makes tr(C D' P D) of that on average. One less their ratio is the reliability of the regressor: S is drawn towards 0
 * by about that factor, and T away from its place by what S loses (Fuller 1987, section 1.1). First-order errors
 * (`curveTransfer`) do not know of it.
 *
 * @param fit the two parts fitted with this regressor, their covariance without the reference's part
 * @returns 1 where velocity is known exactly; below 0 where its error would make more differences than are seen; null
 *   where the covariance of T and S cannot be inverted
 */
export function velocityReliability(
  series: GainSeries,
  rows: CurveRows,
  regressor: ArrayLike<number>,
  { covariance, betweenPatients: g, residualSd }: TwoPartFit,
): number | null {
  const information = inverseInformation(covariance);
  if (information === null) return null;
  const residualVariance = residualSd ** 2;
  const size = rows.coefficients;
  const products = new Float64Array(size * size);
  const constant = new Float64Array(size);
  for (const members of patientRows(series)) {
    const weigh = weighing(regressorSums(members.map((row) => regressor[row] ?? NaN)), {
      betweenPatients: g,
      residualVariance,
    });
    const columns = columnsOf(members, rows.velocity, regressor, size);
    for (const right of columns) {
      // X' V^-1 of the column; by the Woodbury identity V^-1 y = (y - Z G X' V^-1 y) / s^2.
      const [level, slope] = weigh(right.plain, right.timesRegressor);
      constant[right.place] = (constant[right.place] ?? NaN) + level;
      const pulled = [g.lasting * level + g.both * slope, g.both * level + g.passing * slope] as const;
      for (const left of columns) {
        const plain = left.values.reduce((sum, value, i) => sum + value * (right.values[i] ?? NaN), 0);
        const own = plain - left.plain * pulled[0] - left.timesRegressor * pulled[1];
        const at = left.place * size + right.place;
        products[at] = (products[at] ?? NaN) + own / residualVariance;
      }
    }
  }
  let byError = 0;
  const unit = (place: number): number[] => Array.from({ length: size }, (_, i) => (i === place ? 1 : 0));
  for (let left = 0; left < size; left++) {
    for (let right = 0; right < size; right++) {
      const own = products[left * size + right] ?? NaN;
      const taken = ((constant[left] ?? NaN) * (constant[right] ?? NaN)) / information.lasting;
      if (own === 0 && taken === 0) continue;
      byError += rows.covariance(unit(left), unit(right)) * (own - taken);
    }
  }
  return 1 - byError * covariance.passing;
}

/** One coefficient's entries in the velocities of a patient, with their sums; coefficients without any are left out. */
interface VelocityColumn {
  readonly place: number;
  readonly values: readonly number[];
  readonly plain: number;
  readonly timesRegressor: number;
}

function columnsOf(
  members: readonly number[],
  velocity: CurveRows['velocity'],
  regressor: ArrayLike<number>,
  size: number,
): VelocityColumn[] {
  return Array.from({ length: size }, (_, place): VelocityColumn => {
    const values = members.map((row) => velocity[row]?.[place] ?? NaN);
    return {
      place,
      values,
      plain: values.reduce((sum, value) => sum + value, 0),
      timesRegressor: values.reduce(
        (sum, value, i) => sum + value * (regressor[members[i] ?? NaN] ?? NaN),
        0,
      ),
    };
  }).filter(({ values }) => values.some((value) => value !== 0));
}

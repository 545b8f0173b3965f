import { addInformation, regressorSums, weighing } from './patient-information';
import { withPrecision } from './part-precision';
import type { Covariance, GainSeries, PartEstimate, TwoPartFit } from './two-part-model';

/** How gains and velocities hang on the coefficients of the reference's curve; one row of k entries for each gain. */
export interface CurveRows {
  /** +1 or -1: the favourable direction of the measure. */
  readonly direction: 1 | -1;
  /** Coefficients of g(age) - g(age at start): what was taken off the gain. */
  readonly expectedGrowth: readonly (readonly number[])[];
  /** Coefficients of v(age). */
  readonly velocity: readonly (readonly number[])[];
  /** The number of coefficients, k. */
  readonly coefficients: number;
  /** Covariance of two combinations of the coefficients. */
  readonly covariance: (left: readonly number[], right: readonly number[]) => number;
}

/** By how much T and S would change with each coefficient of the curve. */
export interface CurveTransfer {
  readonly lasting: readonly number[];
  readonly passing: readonly number[];
  readonly covariance: CurveRows['covariance'];
}

/**
 * First-order reach of the curve's error into T and S. If the curve's coefficients are off by delta, a gain is off by
 * -d R delta and its velocity by d D delta, so that the gain as modelled is off by -d (R + S D) delta; T and S are
 * linear in the gains at given variance components.
 */
export function curveTransfer(
  series: GainSeries,
  rows: CurveRows,
  regressor: ArrayLike<number>,
  { covariance, betweenPatients, residualSd, passing }: TwoPartFit,
): CurveTransfer {
  const components = { betweenPatients, residualVariance: residualSd ** 2 };
  const lastingScore = new Array<number>(rows.coefficients).fill(0);
  const passingScore = new Array<number>(rows.coefficients).fill(0);
  for (const members of patientRows(series)) {
    const weigh = weighing(regressorSums(members.map((row) => regressor[row] ?? NaN)), components);
    for (let column = 0; column < rows.coefficients; column++) {
      let plain = 0;
      let timesRegressor = 0;
      for (const row of members) {
        const error =
          (rows.expectedGrowth[row]?.[column] ?? NaN) +
          passing.estimate * (rows.velocity[row]?.[column] ?? NaN);
        plain += error;
        timesRegressor += error * (regressor[row] ?? NaN);
      }
      const [lasting, forward] = weigh(plain, timesRegressor);
      lastingScore[column] = (lastingScore[column] ?? NaN) - rows.direction * lasting;
      passingScore[column] = (passingScore[column] ?? NaN) - rows.direction * forward;
    }
  }
  return {
    lasting: lastingScore.map(
      (score, i) => covariance.lasting * score + covariance.both * (passingScore[i] ?? NaN),
    ),
    passing: lastingScore.map(
      (score, i) => covariance.both * score + covariance.passing * (passingScore[i] ?? NaN),
    ),
    covariance: rows.covariance,
  };
}

/** The rows of each patient, in order of first appearance. */
export function patientRows({ patient }: GainSeries): number[][] {
  const members = new Map<string | number, number[]>();
  Array.from(patient).forEach((label, row) => {
    const known = members.get(label);
    if (known === undefined) members.set(label, [row]);
    else known.push(row);
  });
  return [...members.values()];
}

/** The estimates and their covariance with the curve's uncertainty added; unchanged where the curve is taken as known. */
export function withCurveUncertainty(
  { lasting, passing, covariance }: Pick<TwoPartFit, 'lasting' | 'passing' | 'covariance'>,
  transfer: CurveTransfer | null,
  level: number,
): { readonly lasting: PartEstimate; readonly passing: PartEstimate; readonly covariance: Covariance } {
  if (transfer === null) return { lasting, passing, covariance };
  const added: Covariance = {
    lasting: transfer.covariance(transfer.lasting, transfer.lasting),
    both: transfer.covariance(transfer.lasting, transfer.passing),
    passing: transfer.covariance(transfer.passing, transfer.passing),
  };
  return {
    lasting: widened(lasting, added.lasting, level),
    passing: widened(passing, added.passing, level),
    covariance: addInformation(covariance, added),
  };
}

/** Degrees of freedom of a sum of a variance on `df` and a known one: Satterthwaite 1946. */
function widened(part: PartEstimate, added: number, level: number): PartEstimate {
  const own = part.standardError ** 2;
  const standardError = Math.sqrt(own + added);
  const df = part.df === null ? null : part.df * ((own + added) / own) ** 2;
  return withPrecision(part, { standardError, df }, level);
}

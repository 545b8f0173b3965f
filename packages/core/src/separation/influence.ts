import { patientRows } from './curve-uncertainty';
import {
  addInformation,
  inverseInformation,
  patientInformation,
  regressorSums,
  weighing,
} from './patient-information';
import type { GainSeries, TwoPartFit } from './two-part-model';

/** The estimates with one patient left out, in order of first appearance of the patients. */
export interface LeaveOneOut {
  readonly patient: string | number;
  readonly lasting: number;
  readonly passing: number;
}

/**
 * T and S with each patient left out in turn, at the variance components of the whole: generalised least squares by
 * taking away the patient's own information. Exact but for the components, which one patient of many hardly moves.
 */
export function leaveOnePatientOut(
  series: GainSeries,
  regressor: ArrayLike<number>,
  { betweenPatients, residualSd }: TwoPartFit,
): LeaveOneOut[] {
  const components = { betweenPatients, residualVariance: residualSd ** 2 };
  const own = patientRows(series).map((rows) => {
    const values = rows.map((row) => regressor[row] ?? NaN);
    const sums = regressorSums(values);
    const gains = rows.map((row) => series.gain[row] ?? NaN);
    const plain = gains.reduce((sum, gain) => sum + gain, 0);
    const timesRegressor = gains.reduce((sum, gain, i) => sum + gain * (values[i] ?? NaN), 0);
    const [lasting, passing] = weighing(sums, components)(plain, timesRegressor);
    return {
      patient: series.patient[rows[0] ?? 0] ?? '',
      information: patientInformation(sums, components),
      lasting,
      passing,
    };
  });
  const information = own.map((row) => row.information).reduce((a, b) => addInformation(a, b), EMPTY);
  const lasting = own.reduce((sum, row) => sum + row.lasting, 0);
  const passing = own.reduce((sum, row) => sum + row.passing, 0);
  return own.flatMap((row) => {
    const inverse = inverseInformation(addInformation(information, row.information, -1));
    if (inverse === null) return [];
    const l = lasting - row.lasting;
    const p = passing - row.passing;
    return [
      {
        patient: row.patient,
        lasting: inverse.lasting * l + inverse.both * p,
        passing: inverse.both * l + inverse.passing * p,
      },
    ];
  });
}

const EMPTY = { lasting: 0, both: 0, passing: 0 };

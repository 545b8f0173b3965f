import { gainRows, type GainRow } from '../answers/gain-rows';
import type { PatientContrasts } from '../answers/patient-outcome';
import { readClock } from '../answers/separate-gain';
import { isRefusal } from '../numeric';
import type { Yardstick } from '../retention';
import type { CurveOfParts, MeasureStatistics } from './centre-statistics';
import { gainSums, sortedSums } from './gain-sums';

/** The gains of a centre's patients in sums of products, with what the growth curve's own error adds to the parts. */
export function separationSums(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  level: number,
): MeasureStatistics['separation'] {
  const rows = gainRows(patients, yardstick).filter(
    ({ gain, velocity }) => Number.isFinite(gain) && Number.isFinite(velocity),
  );
  const ends = rows.filter(({ years }) => years === 0);
  return {
    patients: sortedSums([...byPatient(rows).values()].map(gainSums)),
    endVelocity: ends.reduce((sum, { velocity }) => sum + velocity, 0),
    endPatients: ends.length,
    curve: curveOfParts(rows, yardstick, level),
  };
}

function byPatient(rows: readonly GainRow[]): Map<string, GainRow[]> {
  const members = new Map<string, GainRow[]>();
  for (const row of rows) {
    const known = members.get(row.code);
    if (known === undefined) members.set(row.code, [row]);
    else known.push(row);
  }
  return members;
}

function curveOfParts(rows: readonly GainRow[], yardstick: Yardstick, level: number): CurveOfParts | null {
  if ((rows[0]?.velocityRow.length ?? 0) === 0) return null;
  const clock = readClock(rows, yardstick, level);
  if (isRefusal(clock) || clock.fit.transfer === null) return null;
  const { lasting, passing, covariance } = clock.fit.transfer;
  const velocity = clock.meanAt(0).curve?.row ?? [];
  return {
    lasting: covariance(lasting, lasting),
    both: covariance(lasting, passing),
    passing: covariance(passing, passing),
    lastingVelocity: covariance(lasting, velocity),
    passingVelocity: covariance(passing, velocity),
    velocity: covariance(velocity, velocity),
  };
}

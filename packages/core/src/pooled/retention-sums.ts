import { seenInYear } from '../answers/by-year';
import type { PatientContrasts } from '../answers/patient-outcome';
import { curveCovariance } from '../growth';
import { contrastRow, contrastValue, meanRow, type Yardstick } from '../retention';
import type { RetentionSums } from './centre-statistics';

/** Sums of the gains of those seen in a year's window; null where nobody was. */
export function retentionSums(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  year: number,
): RetentionSums | null {
  const seen = seenInYear(patients, year);
  if (seen.length === 0) return null;
  const pairs = seen.map(({ sex, first, visit }) => ({
    end: contrastValue(first, sex, yardstick),
    now: contrastValue(visit.gain, sex, yardstick),
  }));
  const { reference } = yardstick;
  const endRow = meanRow(seen.map(({ sex, first }) => contrastRow(first, sex, yardstick)));
  const nowRow = meanRow(seen.map(({ sex, visit }) => contrastRow(visit.gain, sex, yardstick)));
  const end = pairs.reduce((sum, pair) => sum + pair.end, 0);
  const now = pairs.reduce((sum, pair) => sum + pair.now, 0);
  const scatter = { end: 0, both: 0, now: 0 };
  for (const pair of pairs) {
    const ofEnd = pair.end - end / pairs.length;
    const ofNow = pair.now - now / pairs.length;
    scatter.end += ofEnd * ofEnd;
    scatter.both += ofEnd * ofNow;
    scatter.now += ofNow * ofNow;
  }
  return {
    year,
    patients: pairs.length,
    end,
    now,
    scatter,
    curve: {
      end: curveCovariance(reference, endRow, endRow),
      both: curveCovariance(reference, endRow, nowRow),
      now: curveCovariance(reference, nowRow, nowRow),
    },
  };
}

/** Sums over the patients of several centres, from those of each. Source: Chan, Golub and LeVeque 1983 (moving means). */
export function addedSums(
  centres: readonly RetentionSums[],
): Pick<RetentionSums, 'patients' | 'end' | 'now' | 'scatter'> {
  const patients = centres.reduce((sum, one) => sum + one.patients, 0);
  const end = centres.reduce((sum, one) => sum + one.end, 0);
  const now = centres.reduce((sum, one) => sum + one.now, 0);
  const scatter = { end: 0, both: 0, now: 0 };
  for (const one of centres) {
    if (one.patients === 0) continue;
    const ofEnd = one.end / one.patients - end / patients;
    const ofNow = one.now / one.patients - now / patients;
    scatter.end += one.scatter.end + one.patients * ofEnd * ofEnd;
    scatter.both += one.scatter.both + one.patients * ofEnd * ofNow;
    scatter.now += one.scatter.now + one.patients * ofNow * ofNow;
  }
  return { patients, end, now, scatter };
}

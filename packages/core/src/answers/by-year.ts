import { curveCovariance } from '../growth';
import { contrastRow, groupShare, meanRow, shareAboveThreshold, type Yardstick } from '../retention';
import type { AboveThresholdYear, RetainedYear } from './answer';
import { inWindow, MOST_YEARS } from './flow';
import type { PatientContrasts } from './patient-outcome';

type Visit = PatientContrasts['later'][number];
type SeenPatient = Pick<PatientContrasts, 'sex' | 'first'> & { readonly visit: Visit };

/** Retained share of those seen in each year's window, up to the last year in which anyone was. */
export function retainedYears(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  level: number,
): RetainedYear[] {
  return yearsOf(patients, (seen, year) => {
    const pairs = seen.map(({ sex, first, visit }) => ({ sex, first, later: visit.gain }));
    return { year, ...groupShare(pairs, yardstick, level) };
  });
}

/** How many of those seen in each year's window stand above the threshold, with measurement error taken out. */
export function aboveThresholdYears(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  level: number,
): AboveThresholdYear[] {
  return yearsOf(patients, (seen, year) => {
    const row = meanRow(seen.map(({ sex, visit }) => contrastRow(visit.marginContrast, sex, yardstick)));
    const curveVariance = curveCovariance(yardstick.reference, row, row);
    const margins = seen.map(({ visit }) => visit.margin);
    return { year, ...shareAboveThreshold(margins, curveVariance, level) };
  });
}

function yearsOf<Row extends { readonly year: number; readonly n: number }>(
  patients: readonly PatientContrasts[],
  rowOf: (seen: readonly SeenPatient[], year: number) => Row,
): Row[] {
  const rows = Array.from({ length: MOST_YEARS }, (_, i) => rowOf(seenIn(patients, i + 1), i + 1));
  const last = rows.reduce((latest, { year, n }) => (n > 0 ? year : latest), 0);
  return rows.slice(0, last);
}

/** Of a patient's visits in one window the one nearest to the anniversary is used. */
function seenIn(patients: readonly PatientContrasts[], year: number): SeenPatient[] {
  return patients.flatMap(({ sex, first, later }) => {
    const [visit] = later
      .filter(({ years }) => inWindow(years, year))
      .sort((a, b) => Math.abs(a.years - year) - Math.abs(b.years - year));
    return visit === undefined ? [] : [{ sex, first, visit }];
  });
}

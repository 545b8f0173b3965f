import type { IsoDate } from '../records/calendar';
import type { FaultCollector, ImportFile } from './faults';

/** Where in the files something stands; `row` is null for what only the store knows. */
export interface Place {
  readonly file: ImportFile;
  readonly row: number | null;
  readonly column: string;
}

/** Something that happened to a patient, with all that is known of when. */
export interface Moment {
  /** What it is called in a message, such as `active_end` or `the start visit`. */
  readonly what: string;
  readonly date: IsoDate | null;
  readonly ageYears: number | null;
  readonly place: Place;
}

/** How far an age may stray from the dates it stands beside, in years; ages are often rounded to a tenth. */
export const AGE_TOLERANCE_YEARS = 0.1;

/**
 * Whether one moment contradicts the rule that it comes before another (or, unless `strictly`, with it).
 * Dates are compared as dates; where one is missing, ages are, and an age against a date within the tolerance.
 */
function contradictsOrder(earlier: Moment, later: Moment, strictly: boolean): boolean {
  if (earlier.date !== null && later.date !== null) {
    return strictly ? earlier.date >= later.date : earlier.date > later.date;
  }
  if (earlier.ageYears === null || later.ageYears === null) return false;
  const difference = later.ageYears - earlier.ageYears;
  const bothAges = earlier.date === null && later.date === null;
  if (bothAges) return strictly ? difference <= 0 : difference < 0;
  return difference < -AGE_TOLERANCE_YEARS;
}

/**
 * Reports a fault when `earlier` does not come before `later` (or with it, unless `strictly`) and tells
 * whether the order holds. The fault is placed at the moment that stands in the files of this import; a visit
 * or an event before a patient's own dates.
 */
export function requireOrder(
  code: string,
  earlier: Moment,
  later: Moment,
  strictly: boolean,
  faults: FaultCollector,
): boolean {
  if (!contradictsOrder(earlier, later, strictly)) return true;
  const place = bestPlace(later.place, earlier.place);
  const [here, there] = place === later.place ? [later, earlier] : [earlier, later];
  const relation = here === later ? (strictly ? 'after' : 'not before') : strictly ? 'before' : 'not after';
  const message = `patient ${code}: ${later.what} (${whenText(later)}) comes ${strictly ? 'no later than' : 'before'} ${earlier.what} (${whenText(earlier)})`;
  faults.add(place.file, () => ({
    kind: 'wrong-order',
    row: place.row,
    column: place.column,
    value: here.date ?? String(here.ageYears),
    message,
    allowed: `a time ${relation} ${there.what}`,
  }));
  return false;
}

/** The place to point at: one with a row, and visits and events before the patient's own row. */
export function bestPlace(first: Place, second: Place): Place {
  const cost = (place: Place): number =>
    (place.row === null ? 2 : 0) + (place.file === 'patients.csv' ? 1 : 0);
  return cost(second) < cost(first) ? second : first;
}

function whenText(moment: Moment): string {
  return moment.date ?? `age ${moment.ageYears}`;
}

import { ageAtVisit, visitOfKind, type PatientHistory, type Visit } from '../records';
import { pointsOf, visitOfYear, type GaveWayPoint } from './gave-way';

/** The points of one record of one treated patient, from which the parts of every change can be worked out. */
export interface GaveWayReading {
  readonly code: string;
  /** The start, the end of active treatment, or the visit of the year up to which the parts are told. */
  readonly record: 'start' | 'end' | 'year';
  /** Years; null where it is not known. */
  readonly age: number | null;
  /** Natural sizes, mm: distances along the occlusal line, and the length of the lower jaw. Null where not read. */
  readonly points: Readonly<Record<GaveWayPoint, number | null>>;
}

/**
 * The readings behind the parts of what was corrected and of what was lost; records without any of the points are left
 * out.
 * @param year up to which the parts are told; null where nobody has the points in any year
 */
export function gaveWayReadings(
  treated: readonly PatientHistory[],
  year: number | null,
): readonly GaveWayReading[] {
  return treated.flatMap((history) => [
    ...reading(history, 'start', visitOfKind(history, 'start')),
    ...reading(history, 'end', visitOfKind(history, 'end_of_active')),
    ...reading(history, 'year', year === null ? undefined : visitOfYear(history, year)),
  ]);
}

function reading(
  { patient }: PatientHistory,
  record: GaveWayReading['record'],
  visit: Visit | undefined,
): GaveWayReading[] {
  if (visit === undefined) return [];
  const points = pointsOf(visit);
  if (Object.values(points).every((value) => value === null)) return [];
  return [{ code: patient.code, record, age: ageAtVisit(patient, visit), points }];
}

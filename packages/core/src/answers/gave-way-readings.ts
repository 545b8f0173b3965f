import type { PatientHistory } from '../records';
import { recordsOf, type AgedPoints } from './gave-way';
import { pointReader, POINTS, type Point } from './gave-way-splits';

/** The points of one record of one treated patient, from which the parts of every change can be worked out. */
export interface GaveWayReading {
  readonly code: string;
  /** The start, the end of active treatment, or the visit of the year up to which the parts are told. */
  readonly record: 'start' | 'end' | 'year';
  /** Years. */
  readonly age: number;
  /** Natural sizes, mm: distances along the occlusal line, and the length of the lower jaw. Null where not read. */
  readonly points: Readonly<Record<Point, number | null>>;
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
  const read = pointReader();
  return treated.flatMap((history) => {
    const { code, start, end, byYear } = recordsOf(history, read);
    return [
      ...reading(code, 'start', start),
      ...reading(code, 'end', end),
      ...reading(code, 'year', year === null ? null : (byYear.get(year) ?? null)),
    ];
  });
}

function reading(code: string, record: GaveWayReading['record'], aged: AgedPoints | null): GaveWayReading[] {
  if (aged === null || aged.points.values.size === 0) return [];
  const { values } = aged.points;
  const entries = POINTS.map((point) => [point, values.get(point) ?? null] as const);
  return [
    { code, record, age: aged.age, points: Object.fromEntries(entries) as Record<Point, number | null> },
  ];
}

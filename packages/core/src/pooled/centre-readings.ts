import { isRefusal } from '../numeric';
import { DAYS_PER_YEAR } from '../records';
import {
  incidenceReadings,
  orderedIntervals,
  quickCurve,
  quickScores,
  type IncidenceReading,
  type IntervalTimes,
  type OrderedTimes,
  type ProbabilityReading,
} from '../survival';
import type { EndingCount } from './centre-statistics';
import { toDays } from './counts-of-outcomes';
import { incidencesOf } from './pooled-competing';

/** What is read of a centre's patients, and in whom and when. All years in rising order. */
export interface CentreReader {
  /** Of the curve of all patients. */
  readonly years: readonly number[];
  readonly incidenceYears: readonly number[];
  readonly groups: readonly { readonly group: string; readonly years: readonly number[] }[];
  /** By patient's code; null where it is not recorded. */
  readonly groupOf: ReadonlyMap<string, string | null>;
  /** Years to a second treatment by patient's code; null for none. */
  readonly treatedAgainAt: ReadonlyMap<string, number | null>;
}

/** What one reading of the patients' times says, in the order of the reader's years and groups. */
export interface ReadQuantities {
  readonly survival: readonly number[];
  readonly groups: readonly (readonly number[])[];
  /** For each group the sum of its scores in the score test. */
  readonly scores: readonly number[];
  readonly neither: readonly number[];
  readonly lost: readonly number[];
  readonly treatedAgain: readonly number[];
}

/**
 * Reads some patients' times under one state of growth reference and method error after another. Equal times are counted
 * together first: patients have few different ones, since visits lie on whole days.
 *
 * @param codes of the patients, in the order of their times
 * @returns null for times under which nobody of a curve has one
 */
export function readerOf(
  codes: readonly string[],
  { years, incidenceYears, groups, groupOf, treatedAgainAt }: CentreReader,
): (times: IntervalTimes) => ReadQuantities | null {
  const placeOf = new Map<string | null, number>(groups.map(({ group }, g) => [group, g]));
  const place = Int32Array.from(codes, (code) => placeOf.get(groupOf.get(code) ?? null) ?? -1);
  const again = Float64Array.from(codes, (code) => treatedAgainAt.get(code) ?? 0);
  return (times) => {
    const { intervals, all, byGroup } = countedIntervals(times, place, groups.length);
    const survival = quickCurve(intervals, all, years);
    const curves = groups.map((own, g) => quickCurve(intervals, byGroup[g] ?? all, own.years));
    const incidences = incidencesAt(countedEndings(times, again), incidenceYears);
    if (survival === null || incidences === null || curves.includes(null)) return null;
    return {
      survival: Array.from(survival),
      groups: curves.map((curve) => Array.from(curve ?? [])),
      scores: groups.length < 2 ? [] : Array.from(quickScores(intervals, byGroup)),
      ...incidences,
    };
  };
}

/** More days than anybody is followed. */
const DAYS = 2 ** 16;
const OPEN = DAYS - 1;

/** The different intervals, and how many of all patients and of each group have them. */
function countedIntervals(
  { left, right }: IntervalTimes,
  place: Int32Array,
  groups: number,
): { readonly intervals: OrderedTimes; readonly all: Float64Array; readonly byGroup: Float64Array[] } {
  const entryOf = new Map<number, number>();
  const entries = Int32Array.from(place, (_, i) => {
    const from = left[i] ?? NaN;
    if (Number.isNaN(from)) return -1;
    const to = right[i] ?? NaN;
    const key = toDays(from) * DAYS + (to === Infinity ? OPEN : toDays(to));
    const known = entryOf.get(key);
    if (known !== undefined) return known;
    entryOf.set(key, entryOf.size);
    return entryOf.size - 1;
  });
  const all = new Float64Array(entryOf.size);
  const byGroup = Array.from({ length: groups }, () => new Float64Array(entryOf.size));
  entries.forEach((entry, i) => {
    if (entry < 0) return;
    all[entry] = (all[entry] ?? 0) + 1;
    const own = byGroup[place[i] ?? -1];
    if (own !== undefined) own[entry] = (own[entry] ?? 0) + 1;
  });
  const keys = [...entryOf.keys()];
  const intervals = orderedIntervals({
    left: keys.map((key) => Math.floor(key / DAYS) / DAYS_PER_YEAR),
    right: keys.map((key) => (key % DAYS === OPEN ? Infinity : (key % DAYS) / DAYS_PER_YEAR)),
  });
  return { intervals, all, byGroup };
}

const ENDINGS = ['neither', 'lost', 'treated-again'] as const;

/**
 * How follow-up ended, counted by day: a loss on the visit that found it, a second treatment before any, or neither.
 *
 * @param again years to a second treatment; 0 for none
 */
function countedEndings({ left, right }: IntervalTimes, again: Float64Array): EndingCount[] {
  const counts = ENDINGS.map((): number[] => []);
  again.forEach((treatedAgainAt, i) => {
    const [from, to] = [left[i] ?? NaN, right[i] ?? NaN];
    if (Number.isNaN(from)) return;
    const ending = to < Infinity ? 1 : treatedAgainAt > 0 ? 2 : 0;
    const day = toDays([from, to, treatedAgainAt][ending] ?? NaN);
    const own = counts[ending];
    if (own !== undefined) own[day] = (own[day] ?? 0) + 1;
  });
  return ENDINGS.flatMap((ending, e) =>
    Object.entries(counts[e] ?? []).map(([day, patients]) => ({ day: Number(day), ending, patients })),
  );
}

function incidencesAt(
  endings: readonly EndingCount[],
  years: readonly number[],
): Pick<ReadQuantities, 'neither' | 'lost' | 'treatedAgain'> | null {
  const curves = incidencesOf(endings);
  if (isRefusal(curves)) return null;
  const readings = incidenceReadings(curves, [...years]);
  const column = (
    pick: (reading: IncidenceReading) => ProbabilityReading | undefined,
    start: number,
  ): number[] => {
    // Where a reading ends before a year, its last value stands.
    let last = start;
    return readings.map((reading) => (last = pick(reading)?.probability ?? last));
  };
  return {
    neither: column(({ eventFree }) => eventFree, 1),
    lost: column(({ causes }) => causes[0], 0),
    treatedAgain: column(({ causes }) => causes[1], 0),
  };
}

import type { PooledRecord } from './pooled-record';

/**
 * A record with its days rounded to multiples of `step`. Time zero stays 0, and what happened on one day, or one thing
 * after the other, still did so: different days stay different and in order, and what came after time zero stays after
 * it. So a day is rounded to the nearest multiple unless that is taken already by an earlier day (nearer to time zero,
 * that is); then it goes to the next. With 1 nothing changes.
 *
 * A day is off by at most half a step; by less than a whole one where it is that near to time zero, by less than one and
 * a half where it is that near to the day before it; by more only where several days crowd into one step.
 */
export function roundDays(record: PooledRecord, step: number): PooledRecord {
  const rounded = roundedDays(
    [...record.visits, ...record.events].map(({ day }) => day),
    step,
  );
  const day = (exact: number): number => rounded.get(exact) ?? exact;
  return {
    ...record,
    visits: record.visits.map((visit) => ({ ...visit, day: day(visit.day) })),
    events: record.events.map((event) => ({ ...event, day: day(event.day) })),
  };
}

function roundedDays(days: readonly number[], step: number): Map<number, number> {
  const rounded = new Map([[0, 0]]);
  const outward = [...new Set(days)].sort((a, b) => Math.abs(a) - Math.abs(b));
  for (const side of [1, -1]) {
    let taken = 0;
    for (const day of outward) {
      if (Math.sign(day) !== side) continue;
      taken = Math.max(step * Math.round(Math.abs(day) / step), taken + step);
      rounded.set(day, side * taken);
    }
  }
  return rounded;
}

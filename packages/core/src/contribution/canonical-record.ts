import type { PooledRecord } from './pooled-record';

/**
 * A record as the one text from which its digest is made, by the clinic and by the service alike: JSON without spaces,
 * every key in the order of the schema, visits in order of day and kind, values in order of measure, events in order of
 * day and name, each number as the shortest decimal that reads back exactly (ECMAScript's own, so minus zero is `0`).
 * Equal records have equal texts, in whatever order their keys, visits, values and events stand. The text is plain
 * ASCII, so its bytes are the same in every encoding that matters.
 *
 * @param record one that fits `pooledRecordSchema`
 */
export function canonicalRecord(record: PooledRecord): string {
  const { pseudonym, group, sex, ageMonths, protocol, expansion, maturityStart, yearsPassed } = record;
  const visits = record.visits.map(canonicalVisit).sort(byDayThen(({ kind }) => kind));
  const events = record.events
    .map(({ event, day }) => ({ event, day }))
    .sort(byDayThen(({ event }) => event));
  return JSON.stringify({
    pseudonym,
    group,
    sex,
    ageMonths,
    protocol,
    expansion,
    maturityStart,
    yearsPassed,
    visits,
    events,
  });
}

function canonicalVisit({
  kind,
  day,
  values,
}: PooledRecord['visits'][number]): PooledRecord['visits'][number] {
  const ordered = values
    .map(({ measure, value, films, readings, magnification }) => {
      return { measure, value, films, readings, magnification };
    })
    .sort((a, b) => compare(a.measure, b.measure) || compare(JSON.stringify(a), JSON.stringify(b)));
  return { kind, day, values: ordered };
}

/** By day, then by a word, then by all the rest, so that no two different things can stand in either order. */
function byDayThen<Item extends { readonly day: number }>(
  wordOf: (item: Item) => string,
): (a: Item, b: Item) => number {
  return (a, b) =>
    a.day - b.day || compare(wordOf(a), wordOf(b)) || compare(JSON.stringify(a), JSON.stringify(b));
}

/** By code units, the same on every machine. */
function compare(a: string, b: string): number {
  if (a === b) return 0;
  return a < b ? -1 : 1;
}

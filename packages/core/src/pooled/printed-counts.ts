import { cellTotal, type CellByCentre } from './cells';
import { CountTable } from './count-table';
import { FLOW_WIDTH, flowCells, flowSums } from './flow-view';
import type { PooledMeasure } from './pooled-answer';
import type { ShownCount } from './view';

/** All numbers of patients that are printed of one measure of the pool; null where one stays hidden. */
export interface PrintedCounts {
  readonly treated: ShownCount;
  readonly inRiskSet: ShownCount;
  readonly withGains: ShownCount;
  readonly leftOut: readonly {
    readonly reason: PooledMeasure['centres'][number]['leftOut'][number]['reason'];
    readonly patients: ShownCount;
  }[];
  /** In the order of the measure's lists. */
  readonly retention: readonly ShownCount[];
  readonly atRisk: readonly ShownCount[];
  readonly groups: readonly { readonly patients: ShownCount; readonly atYears: readonly ShownCount[] }[];
  /** For each year which numbers of the flow stay hidden, in the order of `flowCells`. */
  readonly flowHidden: readonly ReadonlySet<number>[];
}

/**
 * Everything that is printed of a measure hangs together, so it is judged together. Treated patients are those in the
 * risk set and those left out, by reason; those with gains and those without; those in the risk set have gains. Groups,
 * with those of no recorded group, make up the risk set, and at each year those at risk. Whoever is at risk in a year was
 * so in the years before, and whoever is eligible was so; seen and not seen make up the eligible, and whose gain is read
 * in a year was measured in it.
 */
export function printedCounts(
  measure: PooledMeasure,
  mayShow: (cell: CellByCentre) => boolean,
): PrintedCounts {
  const { centres, retention, atRisk, groups, flow } = measure;
  const table = new CountTable();
  const cells: CellByCentre[] = [];
  const print = (cell: CellByCentre): number => {
    const place = table.printed(cell);
    cells[place] = cell;
    return place;
  };
  const treated = print(centres.map((one) => one.treated));
  const inRiskSet = print(centres.map((one) => one.inRiskSet));
  const withGains = print(centres.map((one) => one.withGains));
  const reasons = [...new Set(centres.flatMap(({ leftOut }) => leftOut.map(({ reason }) => reason)))].sort();
  const leftOut = reasons.map((reason) =>
    print(centres.map((one) => one.leftOut.find((part) => part.reason === reason)?.patients ?? 0)),
  );
  table.sum(treated, [inRiskSet, ...leftOut]);
  table.within(treated, withGains);
  table.within(withGains, inRiskSet);

  const atRiskPlaces = atRisk.map(({ byCentre }) => print(byCentre));
  table.chain([inRiskSet, ...atRiskPlaces]);
  const groupPlaces = groups.groups.map(({ byCentre }) => print(byCentre));
  table.sum(inRiskSet, [...groupPlaces, table.unprinted(groups.unknownByCentre)]);
  const groupAtRisk = groups.groups.map(({ atYears }) =>
    atYears.map(({ atRiskByCentre }) => print(atRiskByCentre)),
  );
  groupAtRisk.forEach((places, g) => table.chain([...groupPlaces.slice(g, g + 1), ...places]));
  atRiskPlaces.forEach((total, y) => {
    const parts = groupAtRisk.flatMap((places) => places[y] ?? []);
    const rest = (cells[total] ?? []).map(
      (count, c) => count - parts.reduce((sum, part) => sum + (cells[part]?.[c] ?? 0), 0),
    );
    table.sum(total, [...parts, table.unprinted(rest)]);
  });

  const flowStarts = flow.map((year) => {
    const [first = 0] = flowCells(year).map((cell, i) =>
      i === FLOW_WIDTH.notMeasured ? table.unprinted(cell) : print(cell),
    );
    for (const { total, parts } of flowSums(first)) table.sum(total, parts);
    return first;
  });
  table.chain([treated, ...flowStarts]);
  const retentionPlaces = retention.map((pool) => {
    const patients = centres.map(
      ({ centre }) =>
        (pool.rows.find((row) => row.centre === centre) ?? pool.leftOut.find((one) => one.centre === centre))
          ?.patients ?? 0,
    );
    const place = print(patients);
    const year = flow.findIndex((one) => one.year === pool.year);
    const start = flowStarts[year];
    if (start !== undefined) table.within(start + FLOW_WIDTH.measured, place);
    table.within(withGains, place);
    return place;
  });

  const hidden = table.hidden(mayShow);
  const shown = (place: number): ShownCount => (hidden.has(place) ? null : cellTotal(cells[place] ?? []));
  return {
    treated: shown(treated),
    inRiskSet: shown(inRiskSet),
    withGains: shown(withGains),
    leftOut: reasons.map((reason, i) => ({ reason, patients: shown(leftOut[i] ?? 0) })),
    retention: retentionPlaces.map(shown),
    atRisk: atRiskPlaces.map(shown),
    groups: groupPlaces.map((place, g) => ({
      patients: shown(place),
      atYears: (groupAtRisk[g] ?? []).map(shown),
    })),
    flowHidden: flowStarts.map(
      (start) =>
        new Set(Array.from({ length: FLOW_WIDTH.all }, (_, i) => i).filter((i) => hidden.has(start + i))),
    ),
  };
}

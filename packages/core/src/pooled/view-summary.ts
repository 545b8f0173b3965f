import { countText } from '../answers';
import { isRefusal } from '../numeric';
import type { ViewedMeasure } from './view';

/** How many patients stand behind an answer, or between which limits, where the number is withheld. */
export function patientRangeText({
  from,
  to,
}: {
  readonly from: number;
  /** Null: not told. Equal to `from` where the number is shown. */
  readonly to: number | null;
}): string {
  if (to === null) return `${countText(from)} treated patients or more`;
  if (from !== to) return `between ${countText(from)} and ${countText(to)} treated patients`;
  return from === 1 ? '1 treated patient' : `${countText(from)} treated patients`;
}

/** How many results of a measure are withheld from this member. */
export function withheldCount({
  quantities,
  flow,
  flowByCentre,
  groups,
  treated,
  inRiskSet,
  leftOut,
}: ViewedMeasure): number {
  const counts = [
    treated,
    inRiskSet,
    ...leftOut.map(({ patients }) => patients),
    ...quantities.map(({ patients }) => patients),
    ...[...flow, ...flowByCentre.flatMap((one) => one.flow)].flatMap(
      ({ eligible, seen, measured, notSeen }) => [eligible, seen, measured, ...Object.values(notSeen)],
    ),
    ...groups.flatMap(({ atYears }) => atYears.map(({ patients }) => patients)),
  ];
  const rows = quantities.reduce((sum, { rowsWithheld }) => sum + (rowsWithheld ?? 0), 0);
  return counts.filter((count) => count === null).length + rows;
}

/** The last year of which the pool has a mean that may be shown; else the first one. */
export function bestPlace(quantities: readonly ViewedMeasure['quantities'][number][]): number {
  return quantities.reduce(
    (best, { twoStage }, place) => (twoStage === null || isRefusal(twoStage) ? best : place),
    0,
  );
}

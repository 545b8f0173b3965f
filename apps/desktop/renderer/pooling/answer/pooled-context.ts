import { centreName } from '@longhold/core/exchange';
import { isRefusal } from '@longhold/core/numeric';
import type { ViewedMeasure } from '@longhold/core/pooled';
import { formatCount, formatNoun, type ForestContext } from '@longhold/ui';
import type { PoolingLink, ReleasedAnswer } from '../../state/host';

/** How a pooled answer is read by this member: what centres are called, and which is the own one. */
export function contextOf(
  measure: string,
  { view, numbers }: Pick<ReleasedAnswer, 'view' | 'numbers'>,
  link: PoolingLink,
): ForestContext {
  const ownCentre = link.role === 'centre' ? link.member : null;
  return {
    measure,
    level: view.level,
    ownCentre,
    nameOf: (centre) => centreName(centre, ownCentre, numbers),
  };
}

/** How many patients stand behind an answer, or between which limits, where the number is withheld. */
export function patientRangeText({ from, to }: ReleasedAnswer['patients']): string {
  if (to === null) return `${formatCount(from)} treated patients or more`;
  return from === to
    ? formatNoun(from, 'treated patient')
    : `between ${formatCount(from)} and ${formatCount(to)} treated patients`;
}

/** How many results of a measure are withheld from this member. */
export function withheldCount({
  quantities,
  flow,
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
    ...flow.flatMap(({ eligible, seen, measured, notSeen }) => [
      eligible,
      seen,
      measured,
      ...Object.values(notSeen),
    ]),
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

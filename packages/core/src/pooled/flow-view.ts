import type { NotSeenReason } from '../answers';
import { cellTotal, hiddenCells, type CellByCentre, type CellSum } from './cells';
import { NOT_SEEN_REASONS, type PooledFlowYear } from './pooled-flow';
import type { ShownCount, ViewedFlowYear } from './view';

type MayShow = (cell: CellByCentre) => boolean;
type Numbers = Pick<PooledFlowYear, 'eligible' | 'seen' | 'measured' | 'notSeen'>;

const ELIGIBLE = 0;
const SEEN = 1;
const MEASURED = 2;
const NOT_MEASURED = 3;
const FIRST_REASON = 4;
const WIDTH = FIRST_REASON + NOT_SEEN_REASONS.length;

/** Places in the list of one year's numbers. */
export const FLOW_WIDTH = { measured: MEASURED, notMeasured: NOT_MEASURED, all: WIDTH } as const;

/** The numbers of one flow in a fixed order; eligible = seen + reasons, seen = measured + not measured. */
function numbersOf({ eligible, seen, measured, notSeen }: Numbers): number[] {
  return [eligible, seen, measured, seen - measured, ...NOT_SEEN_REASONS.map((reason) => notSeen[reason])];
}

/** The numbers of one year's flow by centre, in a fixed order. */
export function flowCells({ byCentre }: PooledFlowYear): CellByCentre[] {
  const numbers = byCentre.map(numbersOf);
  return Array.from({ length: WIDTH }, (_, i) => numbers.map((own) => own[i] ?? 0));
}

/** What adds up among numbers that begin at a place. */
export function flowSums(start: number): CellSum[] {
  const reasons = NOT_SEEN_REASONS.map((_, i) => start + FIRST_REASON + i);
  return [
    { total: start + ELIGIBLE, parts: [start + SEEN, ...reasons] },
    { total: start + SEEN, parts: [start + MEASURED, start + NOT_MEASURED] },
  ];
}

/** Flow of the pool as members may see it, but for the numbers that stay hidden. */
export function poolFlowView(
  flow: readonly PooledFlowYear[],
  hidden: readonly ReadonlySet<number>[],
): ViewedFlowYear[] {
  return flow.map((year, y) =>
    viewOf(
      year.year,
      flowCells(year).map((cell, i) => (hidden[y]?.has(i) === true ? null : cellTotal(cell))),
    ),
  );
}

/**
 * Flow of the pool and of each centre for the coordinator: the centres add up to the pool, so both are hidden together,
 * and what stays hidden of the pool for other reasons must not follow from the centres.
 */
export function coordinatorFlowView(
  flow: readonly PooledFlowYear[],
  hiddenOfPool: readonly ReadonlySet<number>[],
  mayShow: MayShow,
): {
  readonly flow: ViewedFlowYear[];
  readonly byCentre: { readonly centre: string; readonly flow: ViewedFlowYear[] }[];
} {
  const centres = (flow[0]?.byCentre ?? []).map(({ centre }) => centre);
  const years = flow.map((whole, y) => {
    const tables = [whole, ...whole.byCentre].map(numbersOf);
    const cells = tables.flat().map((count): CellByCentre => [count]);
    const sums = [
      ...tables.flatMap((_, t) => flowSums(t * WIDTH)),
      ...Array.from({ length: WIDTH }, (_, i) => ({
        total: i,
        parts: whole.byCentre.map((__, c) => (c + 1) * WIDTH + i),
      })),
    ];
    const unprinted = new Set(tables.map((_, t) => t * WIDTH + NOT_MEASURED));
    const withheld = new Set([...(hiddenOfPool[y] ?? [])].filter((i) => i !== NOT_MEASURED));
    const hidden = hiddenCells(cells, sums, mayShow, { unprinted, withheld });
    return tables.map((numbers, t) =>
      viewOf(
        whole.year,
        numbers.map((count, i) => (hidden[t * WIDTH + i] === true ? null : count)),
      ),
    );
  });
  return {
    flow: years.flatMap(([whole]) => whole ?? []),
    byCentre: centres.map((centre, c) => ({ centre, flow: years.flatMap((tables) => tables[c + 1] ?? []) })),
  };
}

/** A centre's own flow, which it knows in full. */
export function ownFlowView(flow: readonly PooledFlowYear[], centre: string): ViewedFlowYear[] {
  return flow.flatMap(({ year, byCentre }) => {
    const own = byCentre.find((one) => one.centre === centre);
    return own === undefined ? [] : [viewOf(year, numbersOf(own))];
  });
}

function viewOf(year: number, counts: readonly ShownCount[]): ViewedFlowYear {
  const at = (place: number): ShownCount => counts[place] ?? null;
  const notSeen: Record<NotSeenReason, ShownCount> = {
    withdrew: null,
    moved: null,
    declined: null,
    'treated-again': null,
    'no-consent': null,
    'not-known': null,
  };
  NOT_SEEN_REASONS.forEach((reason, i) => (notSeen[reason] = at(FIRST_REASON + i)));
  return { year, eligible: at(ELIGIBLE), seen: at(SEEN), measured: at(MEASURED), notSeen };
}

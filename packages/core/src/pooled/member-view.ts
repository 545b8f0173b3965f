import type { StudyDefinition } from '../contribution/study-definition';
import { isRefusal, type Refusal } from '../numeric';
import type { Limits } from '../pooling';
import type { ProbabilityReading } from '../survival';
import { cellTotal, hiddenCells, mayShowCentre, mayShowPool, type CellByCentre } from './cells';
import { coordinatorFlowView, ownFlowView, poolFlowView } from './flow-view';
import type { CentrePool, TwoStageMean } from './pool-centres';
import type { PooledAnswer, PooledMeasure } from './pooled-answer';
import type { OneStage } from './pooled-retention';
import { coarseRange, steppedMean, steppedStage } from './shown-precision';
import { toldMeasure } from './told-measure';
import { printedCounts, type PrintedCounts } from './printed-counts';
import type {
  OwnPart,
  PooledView,
  QuantityKind,
  ShownCount,
  ViewedGroup,
  ViewedMean,
  ViewedMeasure,
  ViewedQuantity,
  ViewedStage,
  Viewer,
} from './view';

/**
 * What a viewer may see of a pooled answer. Readers and centres see the pool, and a centre its own estimates beside it;
 * what is shown of the pool is the same for all of them, so that two of them together learn no more than each. The
 * coordinator, and every centre where the study agreement shares records, sees the centres too. A number of patients
 * below the smallest cell is withheld with every estimate that stands on it, and so is whatever would give it away; who
 * does not see the centres is told no more digits than are printed (`shown-precision.ts`).
 */
export function memberView(answer: PooledAnswer, viewer: Viewer, rules: ViewRules): PooledView {
  const view = poolView(answer, viewer.kind, rules);
  return viewer.kind === 'centre' ? withOwnPart(view, ownPart(answer, viewer.centre)) : view;
}

type ViewRules = Pick<StudyDefinition, 'smallestCell' | 'recordsShared'>;

/** What all viewers of one kind see alike; a centre's own part is put in by `withOwnPart`. */
export function poolView(
  answer: PooledAnswer,
  viewer: Viewer['kind'],
  { smallestCell, recordsShared }: ViewRules,
): PooledView {
  const seesCentres = viewer === 'coordinator' || (viewer === 'centre' && recordsShared);
  return {
    definitionVersion: answer.definitionVersion,
    level: answer.level,
    smallestCell,
    countStep: seesCentres ? 1 : smallestCell,
    viewer,
    measures: answer.measures.map((measure) => {
      const viewed = viewedMeasure(measure, { smallestCell, seesCentres });
      return seesCentres ? viewed : toldMeasure(viewed, smallestCell);
    }),
  };
}

/** What only the centre itself sees of an answer, which it knows in full. */
export function ownPart(answer: PooledAnswer, centre: string): OwnPart {
  return {
    centre,
    measures: answer.measures.map((measure) => ({
      measure: measure.measure,
      flow: ownFlowView(measure.flow, centre),
      rows: quantitiesOf(measure).map(({ pool }) => {
        const own = pool.rows.find((row) => row.centre === centre);
        return own === undefined
          ? null
          : { centre: own.centre, patients: own.patients, estimate: own.estimate, interval: own.interval };
      }),
    })),
  };
}

/** Puts a centre's own part of the same answer beside the pool. */
export function withOwnPart(view: PooledView, { centre, measures }: OwnPart): PooledView {
  return {
    ...view,
    measures: view.measures.map((viewed) => {
      const own = measures.find(({ measure }) => measure === viewed.measure);
      if (own === undefined) return viewed;
      return {
        ...viewed,
        flowByCentre: viewed.flowByCentre.length > 0 ? viewed.flowByCentre : [{ centre, flow: own.flow }],
        quantities: viewed.quantities.map((quantity, i) => ({ ...quantity, own: own.rows[i] ?? null })),
      };
    }),
  };
}

interface Sight {
  readonly smallestCell: number;
  readonly seesCentres: boolean;
}

/** Whether a cell of the pool may be shown. Whoever sees the centres sees each of them, so only small sums are hidden. */
function showsPool({ smallestCell, seesCentres }: Sight): (cell: CellByCentre) => boolean {
  return seesCentres
    ? (cell) => mayShowCentre(cellTotal(cell), smallestCell)
    : (cell) => mayShowPool(cell, smallestCell);
}

function viewedMeasure(measure: PooledMeasure, sight: Sight): ViewedMeasure {
  const mayShow = showsPool(sight);
  const counts = printedCounts(measure, mayShow);
  const whole = sight.seesCentres ? coordinatorFlowView(measure.flow, counts.flowHidden, mayShow) : null;
  const showRiskSet = mayShow(measure.centres.map(({ inRiskSet }) => inRiskSet));
  const showGains = mayShow(measure.centres.map(({ withGains }) => withGains));
  return {
    measure: measure.measure,
    centres: measure.centres.length,
    treated: counts.treated,
    treatedBetween: treatedBetween(measure, sight.smallestCell),
    inRiskSet: counts.inRiskSet,
    leftOut: counts.leftOut,
    flow: whole?.flow ?? poolFlowView(measure.flow, counts.flowHidden),
    flowByCentre: whole?.byCentre ?? [],
    quantities: quantitiesOf(measure).map((quantity) =>
      viewedQuantity(quantity, quantity.printed(counts), sight),
    ),
    carried: measure.carried,
    survivalDifferences: showRiskSet ? numberless(measure.survivalDifferences) : null,
    separationDifferences: showGains ? numberless(measure.separation.differences) : null,
    spread: showGains ? numberless(measure.separation.spread) : null,
    ...groupsView(measure, counts, sight),
    competing: measure.competing.flatMap((year) => competingView(year, sight)),
  };
}

/** In steps of twice the smallest cell, so that a size can be told where the number itself would give others away. */
function treatedBetween({ centres }: PooledMeasure, smallestCell: number): Limits {
  const step = 2 * smallestCell;
  const lower = Math.floor(cellTotal(centres.map(({ treated }) => treated)) / step) * step;
  return { lower, upper: lower + step };
}

/**
 * No number at risk: less those at risk of the curve it would be the number treated again. A probability that hangs on too
 * few events is withheld, and with it the one of neither, from which it would follow.
 */
function competingView(
  { atRiskByCentre, lostByCentre, againByCentre, ...rest }: PooledMeasure['competing'][number],
  sight: Sight,
): ViewedMeasure['competing'] {
  if (!showsPool(sight)(atRiskByCentre)) return [];
  const patients = cellTotal(atRiskByCentre) + cellTotal(lostByCentre) + cellTotal(againByCentre);
  const asTold = (reading: ProbabilityReading, isShown: boolean): ProbabilityReading =>
    isShown || reading.probability === null
      ? reading
      : {
          probability: null,
          standardError: null,
          ...coarseRange(reading.probability, patients, sight.smallestCell),
        };
  const showsLost = showsEvents(lostByCentre, sight);
  const showsAgain = showsEvents(againByCentre, sight);
  return [
    {
      year: rest.year,
      lost: asTold(rest.lost, showsLost),
      treatedAgain: asTold(rest.treatedAgain, showsAgain),
      neither: asTold(rest.neither, showsLost && showsAgain),
    },
  ];
}

/**
 * Whether a share may be told that so many patients bring about, since share and limits tell their number. Who sees the
 * centres is not kept from it: rows of centres say as much.
 */
function showsEvents(cell: CellByCentre, sight: Sight): boolean {
  return sight.seesCentres || mayShowPool(cell, sight.smallestCell);
}

interface Quantity {
  readonly kind: QuantityKind;
  readonly year: number | null;
  readonly pool: CentrePool & { readonly oneStage: OneStage | Refusal };
  /** Patients behind it by centre, those of centres without an estimate too. */
  readonly patients: CellByCentre;
  /** Of a curve: the losses that made it fall, by centre, and all patients who could have been lost; else null. */
  readonly lost: { readonly byCentre: CellByCentre; readonly among: number } | null;
  readonly centres: readonly string[];
  /** The number of its patients as it may be printed. */
  readonly printed: (counts: PrintedCounts) => ShownCount;
}

function quantitiesOf(measure: PooledMeasure): Quantity[] {
  const centres = measure.centres.map(({ centre }) => centre);
  const withGains = measure.centres.map((one) => one.withGains);
  const { lasting, forward, lastingShare } = measure.separation;
  const gains = (counts: PrintedCounts): ShownCount => counts.withGains;
  const byCentre = ({ rows, leftOut }: CentrePool): number[] =>
    centres.map(
      (centre) =>
        rows.find((row) => row.centre === centre)?.patients ??
        leftOut.find((one) => one.centre === centre)?.patients ??
        0,
    );
  return [
    ...measure.retention.map((pool, i) => ({
      kind: 'retained-share' as const,
      year: pool.year,
      pool,
      patients: byCentre(pool),
      lost: null,
      centres,
      printed: ({ retention }: PrintedCounts) => retention[i] ?? null,
    })),
    ...measure.survival.map((pool, i) => ({
      kind: 'survival' as const,
      year: pool.year,
      pool,
      patients: measure.atRisk.find(({ year }) => year === pool.year)?.byCentre ?? byCentre(pool),
      lost: {
        byCentre: measure.atRisk.find(({ year }) => year === pool.year)?.lostByCentre ?? [],
        among: cellTotal(measure.centres.map(({ inRiskSet }) => inRiskSet)),
      },
      centres,
      printed: ({ atRisk }: PrintedCounts) => atRisk[i] ?? null,
    })),
    ...[
      { kind: 'lasting' as const, pool: lasting },
      { kind: 'forward' as const, pool: forward },
      { kind: 'lasting-share' as const, pool: lastingShare },
    ].map((part) => ({ ...part, year: null, patients: withGains, lost: null, centres, printed: gains })),
  ];
}

/**
 * The pool's estimate and the rows that may be shown. A pool of which single centres are hidden must not give them away,
 * nor the centres the number of a pool that stays hidden: the centres of one quantity are the parts of a sum.
 */
function viewedQuantity(
  { kind, year, pool, patients, lost, centres }: Quantity,
  printed: ShownCount,
  sight: Sight,
): ViewedQuantity {
  const cells: CellByCentre[] = [[cellTotal(patients)], ...patients.map((count) => [count])];
  const hidden = hiddenCells(
    cells,
    [{ total: 0, parts: patients.map((_, c) => c + 1) }],
    (cell) => mayShowCentre(cellTotal(cell), sight.smallestCell),
    { withheld: new Set(printed === null ? [0] : []) },
  );
  const enough = showsPool(sight)(patients) && (sight.seesCentres || showsMean(pool, sight));
  const showPool = enough && (lost === null || showsEvents(lost.byCentre, sight));
  const isCoarse = enough && !showPool && lost !== null && !isRefusal(pool.oneStage);
  if (showPool) hideSecondRow(hidden, patients, sight.smallestCell);
  const isShown = (centre: string): boolean => hidden[centres.indexOf(centre) + 1] === false;
  const rows = sight.seesCentres ? pool.rows.filter(({ centre }) => isShown(centre)) : [];
  const noneHidden = hidden.every((one) => !one);
  const rowsWithheld = sight.seesCentres ? pool.rows.length - rows.length : null;
  const mean = showPool ? meanView(pool.twoStage) : null;
  const stage = showPool ? stageView(pool.oneStage) : null;
  // Weights, what rows were pooled as, and many digits of the mean would give the withheld rows.
  const isTold = rowsWithheld !== null && rowsWithheld > 0;
  return {
    kind,
    year,
    scale: pool.scale,
    patients: enough && (!sight.seesCentres || hidden[0] === false) ? printed : null,
    twoStage: mean !== null && isTold ? steppedMean(mean, kind) : mean,
    oneStage: stage !== null && isTold ? steppedStage(stage, kind) : stage,
    between: isCoarse ? coarseRange(pool.oneStage.estimate, lost.among, sight.smallestCell) : null,
    own: null,
    rows: isTold ? rows.map((row) => ({ ...row, weight: null, pooledAs: null })) : rows,
    withoutOne:
      sight.seesCentres && showPool && !isTold && !isRefusal(pool.withoutOne)
        ? pool.withoutOne.filter(({ centre }) => isShown(centre))
        : [],
    leftOut:
      sight.seesCentres && noneHidden
        ? pool.leftOut.map(({ centre, why }) => ({ centre, why: withoutNumbers(why) }))
        : [],
    rowsWithheld,
  };
}

/** One row alone that is hidden would follow from the mean and the other rows: the smallest of these is hidden too. */
function hideSecondRow(hidden: boolean[], patients: CellByCentre, smallestCell: number): void {
  const rows = patients.map((count, c) => ({ count, place: c + 1 }));
  const unseen = rows.filter(({ place }) => hidden[place] === true);
  const [only] = unseen;
  if (only === undefined || unseen.length > 1 || mayShowCentre(only.count, smallestCell)) return;
  const seen = rows.filter(({ place, count }) => hidden[place] === false && count > 0);
  const [smallest] = seen.sort((a, b) => a.count - b.count);
  if (smallest !== undefined) hidden[smallest.place] = true;
}

/** The mean over centres may stand on fewer of them than the whole: its own patients must be enough too. */
function showsMean({ rows, twoStage }: CentrePool, { smallestCell }: Sight): boolean {
  return (
    isRefusal(twoStage) ||
    mayShowPool(
      rows.map(({ patients }) => patients),
      smallestCell,
    )
  );
}

function meanView(mean: TwoStageMean | Refusal): ViewedMean | Refusal {
  if (isRefusal(mean)) return withoutNumbers(mean);
  const { patients: _patients, ...rest } = mean;
  return rest;
}

function stageView(stage: OneStage | Refusal): ViewedStage | Refusal {
  return isRefusal(stage) ? withoutNumbers(stage) : { estimate: stage.estimate, interval: stage.interval };
}

/** A refusal may count patients in its sentence; then another one says why. The number of centres is no secret. */
function withoutNumbers({ refused, message }: Refusal): Refusal {
  const isTold = refused === 'too-few-centres' || !/\d/.test(message);
  return { refused, message: isTold ? message : 'Too few patients were followed for this.' };
}

function numberless<Answer extends object>(result: Answer | Refusal): Answer | Refusal {
  return isRefusal(result) ? withoutNumbers(result) : result;
}

/** Each group's curve where enough of it are at risk, and the test between groups where all of them may be shown. */
function groupsView(
  { groups: { groups, unknownByCentre, test } }: PooledMeasure,
  counts: PrintedCounts,
  sight: Sight,
): Pick<ViewedMeasure, 'groups' | 'groupTest'> {
  const mayShow = showsPool(sight);
  const viewed = groups.map(({ label, byCentre, atYears }, g): ViewedGroup => {
    const printed = counts.groups[g];
    return {
      label,
      patients: printed?.patients ?? null,
      atYears: atYears.map(({ year, oneStage, atRiskByCentre, lostByCentre }, y) => {
        const isShown = mayShow(byCentre) && mayShow(atRiskByCentre) && showsEvents(lostByCentre, sight);
        return {
          year,
          patients: printed?.atYears[y] ?? null,
          oneStage: isShown ? stageView(oneStage) : null,
        };
      }),
    };
  });
  const showTest = groups.every(({ byCentre }) => mayShow(byCentre)) && mayShow(unknownByCentre);
  return { groups: viewed, groupTest: showTest ? numberless(test) : null };
}

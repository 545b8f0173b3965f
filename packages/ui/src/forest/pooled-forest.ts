import { isRefusal } from '@longhold/core/numeric';
import { findMeasure } from '@longhold/core/measures';
import {
  pooledIntervalText,
  pooledSubject,
  pooledValueText,
  type QuantityKind,
  type ViewedQuantity,
} from '@longhold/core/pooled';
import type { RatioInterval } from '@longhold/core/ratio';
import { paddedRange, type KeyEntry } from '../charts/chart-model';
import { intervalEnds } from '../charts/interval-ends';
import { formatCount, formatLevel } from '../format';
import type { ForestModel, ForestModelRow } from './forest-model';

/** What a forest plot of a pooled quantity needs to know beside it. */
export interface ForestContext {
  /** Code of the measure, whose unit the values have. */
  readonly measure: string;
  readonly level: number;
  /** What a centre is called. */
  readonly nameOf: (centre: string) => string;
  /** The viewer's own centre; null for others than a centre. */
  readonly ownCentre: string | null;
}

/** Beyond these an axis says nothing more; an arrow head tells that an interval goes on. */
const WIDEST: Readonly<Record<QuantityKind, readonly [number, number]>> = {
  'retained-share': [-0.5, 2],
  survival: [0, 1],
  lasting: [-Infinity, Infinity],
  forward: [-Infinity, Infinity],
  'lasting-share': [-0.5, 2],
};

/**
 * Forest plot of a pooled quantity: centres that may be shown, the viewer's own, the mean over centres with the range of
 * a further centre, and all patients as one series.
 */
export function pooledForest(quantity: ViewedQuantity, context: ForestContext): ForestModel {
  const { rows, own, twoStage, oneStage, patients } = quantity;
  const { nameOf, ownCentre } = context;
  const write = writerOf(quantity, context);
  const counted = patients === null ? '' : formatCount(patients);
  const shown = byName(
    own === null || rows.some(({ centre }) => centre === own.centre)
      ? rows
      : [...rows, { ...own, weight: null }],
    nameOf,
  );
  const mean = twoStage === null || isRefusal(twoStage) ? null : twoStage;
  const series = oneStage === null || isRefusal(oneStage) ? null : oneStage;
  const drawn: ForestModelRow[] = [
    ...shown.map(({ centre, patients: n, estimate, interval, weight }) => ({
      id: centre,
      kind: centre === ownCentre ? ('own' as const) : ('centre' as const),
      label: nameOf(centre),
      patients: formatCount(n),
      estimate,
      ...intervalEnds(interval),
      weight,
      result: write(estimate, interval),
    })),
    ...(mean === null
      ? []
      : [
          {
            id: 'mean',
            kind: 'mean' as const,
            label: `Mean over ${formatCount(mean.centres)} centres`,
            patients: counted,
            estimate: mean.estimate,
            ...mean.limits,
            weight: null,
            result: write(mean.estimate, { kind: 'bounded', ...mean.limits }),
          },
        ]),
    ...(mean === null || mean.prediction === null
      ? []
      : [
          {
            id: 'prediction',
            kind: 'prediction' as const,
            label: 'Expected in a further centre',
            patients: '',
            estimate: null,
            ...mean.prediction,
            weight: null,
            result: pooledIntervalText(
              quantity.kind,
              { kind: 'bounded', ...mean.prediction },
              unitOf(context),
            ),
          },
        ]),
    ...(series === null
      ? []
      : [
          {
            id: 'series',
            kind: 'series' as const,
            label: 'All patients as one series',
            patients: counted,
            estimate: series.estimate,
            ...intervalEnds(series.interval),
            weight: null,
            result: write(series.estimate, series.interval),
          },
        ]),
  ];
  return modelOf(drawn, quantity, context, mean?.estimate ?? null);
}

/** Centres in the order of their names, 2 before 10: the answer has them by random ids. */
function byName<Row extends { readonly centre: string }>(
  rows: readonly Row[],
  nameOf: ForestContext['nameOf'],
): Row[] {
  return [...rows].sort((a, b) => nameOf(a.centre).localeCompare(nameOf(b.centre), 'en', { numeric: true }));
}

/** The mean over centres with each centre left out in turn, against the mean of all. */
export function withoutOneForest(quantity: ViewedQuantity, context: ForestContext): ForestModel {
  const { withoutOne, twoStage } = quantity;
  const write = writerOf(quantity, context);
  const mean = twoStage === null || isRefusal(twoStage) ? null : twoStage;
  const rows = byName(withoutOne, context.nameOf).map(({ centre, estimate, limits }): ForestModelRow => {
    return {
      id: centre,
      kind: 'without',
      label: `Without ${context.nameOf(centre)}`,
      patients: '',
      estimate,
      ...limits,
      weight: null,
      result: write(estimate, { kind: 'bounded', ...limits }),
    };
  });
  return modelOf(rows, quantity, context, mean?.estimate ?? null);
}

function modelOf(
  rows: readonly ForestModelRow[],
  { kind, year }: ViewedQuantity,
  context: ForestContext,
  guide: number | null,
): ForestModel {
  const ends = rows.flatMap(({ estimate, lower, upper }) =>
    [estimate, lower, upper].filter((end) => end !== null),
  );
  const [low, high] = paddedRange(ends, 0.06);
  const [least, most] = WIDEST[kind];
  return {
    rows,
    headings: {
      label: '',
      patients: rows.some(({ patients }) => patients !== '') ? 'Patients' : '',
      result: `Estimate (${formatLevel(context.level)} interval)`,
    },
    axis: {
      label: pooledSubject({ kind, year }),
      range: [Math.max(low, least), Math.min(high, most)],
      write: (value) => pooledValueText(kind, value, unitOf(context)),
    },
    guide,
    key: rows.length === 0 ? [] : keyOf(rows, guide),
  };
}

const KEYS: Readonly<Record<ForestModelRow['kind'], KeyEntry>> = {
  centre: {
    kind: 'mark',
    shape: 'block',
    tone: 'expected',
    label: 'A centre; the larger, the more weight',
    dash: [],
  },
  own: { kind: 'mark', shape: 'disc', tone: 'compare', label: 'This clinic alone', dash: [] },
  mean: { kind: 'mark', shape: 'lozenge', tone: 'answer', label: 'Mean over centres', dash: [] },
  prediction: { kind: 'line', tone: 'answer', dash: [6, 3], label: 'Where a further centre is expected' },
  series: { kind: 'mark', shape: 'diamond', tone: 'ink', label: 'All patients as one series', dash: [] },
  without: { kind: 'mark', shape: 'block', tone: 'quiet', label: 'Mean with one centre left out', dash: [] },
};

function keyOf(rows: readonly ForestModelRow[], guide: number | null): KeyEntry[] {
  const kinds = [...new Set(rows.map(({ kind }) => kind))].map((kind) => KEYS[kind]);
  return guide === null
    ? kinds
    : [...kinds, { kind: 'line', tone: 'answer', dash: [4, 4], label: 'Mean over all centres, as a guide' }];
}

function unitOf({ measure }: ForestContext): 'mm' | 'deg' {
  return findMeasure(measure)?.unit ?? 'mm';
}

function writerOf(
  { kind }: ViewedQuantity,
  context: ForestContext,
): (estimate: number, interval: RatioInterval) => string {
  const unit = unitOf(context);
  return (estimate, interval) =>
    `${pooledValueText(kind, estimate, unit)} (${pooledIntervalText(kind, interval, unit)})`;
}

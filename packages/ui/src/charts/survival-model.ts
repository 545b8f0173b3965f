import type { CurvePoint, SurvivalAnswer, SurvivalAtYear } from '@longhold/core/answers';
import { formatCount, formatShare, formatShareLimits } from '../format';
import { type ChartModel, type KeyEntry, type Layer, patientShareAxis, sinceEndAxis } from './chart-model';

const COMPARISON_DASH = [6, 4];
/** Sums of the same masses in another order differ by less than this. */
const ROUNDING = 1e-9;

/** The interval-censored survival of the gain, with the conventional curve beside it where asked. */
export function survivalModel(survival: SurvivalAnswer, compare: boolean): ChartModel {
  const { turnbull, kaplanMeier } = survival;
  const points = curvePoints(turnbull.points, turnbull.atYears);
  const conventional = curvePoints(kaplanMeier.points, kaplanMeier.atYears);
  const last = Math.max(1, lastTime(points, conventional));
  const lastYear = Math.floor(last + ROUNDING);
  const comparison: Layer[] = compare ? [comparisonLine(conventional)] : [];
  const atRisk = turnbull.atYears.map(({ year, atRisk: count }): [number, string] => [
    year,
    formatCount(count),
  ]);
  return {
    x: sinceEndAxis(last, 0.25),
    y: patientShareAxis('Gain still there'),
    layers: [bandOf(points), ...comparison, ...curveOf(points)],
    under: { label: 'Patients at risk', at: new Map([[0, formatCount(survival.patients)], ...atRisk]) },
    points: turnbull.atYears
      .filter(({ year }) => year <= lastYear && points.length > 1)
      .map((year) => ({ x: year.year, text: describeSurvivalAtYear(year) })),
    key: survivalKey(compare),
  };
}

/** Survival at a whole year in words, for the reading cursor. */
export function describeSurvivalAtYear({
  year,
  estimate,
  limits,
  atRisk,
  undefinedWithin,
}: SurvivalAtYear): string {
  if (estimate === null) return `Year ${year}: nobody was followed that long, so nothing can be said.`;
  const interval = limits === null ? '' : `, interval ${formatShareLimits(limits)}`;
  const still =
    undefinedWithin === null
      ? `${formatShare(estimate)} still have the gain`
      : `the curve is not defined here, somewhere in ${formatShareLimits(undefinedWithin)} still have the gain`;
  return `Year ${year}: ${still}${interval}; ${formatCount(atRisk)} at risk.`;
}

/**
 * The curve from the end of active treatment to the last whole year at which somebody was still followed:
 * where it falls, and what is read off at whole years in between, which carries the level stretches on.
 */
function curvePoints(falls: readonly CurvePoint[], years: readonly SurvivalAtYear[]): readonly CurvePoint[] {
  const read = years.flatMap(({ year, estimate, limits, undefinedWithin }) =>
    estimate === null || limits === null || undefinedWithin !== null
      ? []
      : [{ time: year, survival: estimate, lower: limits.lower, upper: limits.upper }],
  );
  const fallsAt = new Set(falls.map(({ time }) => time));
  const later = [...falls, ...read.filter(({ time }) => !fallsAt.has(time))].sort((a, b) => a.time - b.time);
  return later[0]?.time === 0 ? later : [{ time: 0, survival: 1, lower: 1, upper: 1 }, ...later];
}

function lastTime(...curves: readonly (readonly CurvePoint[])[]): number {
  return Math.max(...curves.map((points) => points.at(-1)?.time ?? 0));
}

function bandOf(points: readonly CurvePoint[]): Layer {
  return {
    kind: 'band',
    x: points.map((point) => point.time),
    lower: points.map((point) => point.lower),
    upper: points.map((point) => point.upper),
    tone: 'answer-band',
  };
}

/** Level stretches solid; falls dotted, since the visits don't say when within them the gain was lost. */
function curveOf(points: readonly CurvePoint[]): Layer[] {
  return points.slice(1).map((point, index) => {
    const before = points[index] ?? point;
    const level = Math.abs(before.survival - point.survival) < ROUNDING;
    return {
      kind: 'line',
      x: [before.time, point.time],
      y: [before.survival, point.survival],
      tone: 'answer',
      width: level ? 2.5 : 2,
      ...(level ? {} : { dash: [2, 3] }),
    };
  });
}

function comparisonLine(points: readonly CurvePoint[]): Layer {
  return {
    kind: 'line',
    x: points.map((point) => point.time),
    y: points.map((point) => point.survival),
    tone: 'compare',
    dash: COMPARISON_DASH,
    width: 1.75,
    stepped: true,
  };
}

function survivalKey(compare: boolean): KeyEntry[] {
  const entries: KeyEntry[] = [
    { kind: 'line', tone: 'answer', label: 'Gain still there (from the visits’ intervals)' },
    { kind: 'line', tone: 'answer', dash: [2, 3], label: 'Lost somewhere in here' },
    { kind: 'band', tone: 'answer-band', label: 'Interval at each time' },
  ];
  if (compare) {
    entries.push({
      kind: 'line',
      tone: 'compare',
      dash: COMPARISON_DASH,
      label: 'Conventional curve (Kaplan-Meier)',
    });
  }
  return entries;
}

import { percentText } from '@longhold/core/answers';
import type { ShapeName, Tone } from './shapes';

/** What a chart shows, as plain data: the drawing code knows nothing of patients, the models nothing of canvas. */
export interface ChartModel {
  readonly x: ChartAxis;
  readonly y: ChartAxis;
  /** Drawn in this order, later ones on top. */
  readonly layers: readonly Layer[];
  /** A row of numbers under the axis, each at its own x (numbers at risk). */
  readonly under: { readonly label: string; readonly at: ReadonlyMap<number, string> } | null;
  /** Where the reading cursor can stop, in rising x. */
  readonly points: readonly ReadablePoint[];
  readonly key: readonly KeyEntry[];
}

export const YEARS_SINCE_END = 'Years since the end of active treatment';

export interface ChartAxis {
  readonly label: string;
  readonly range: readonly [min: number, max: number];
  readonly write: (value: number) => string;
  /** Ticks at these values only; left out, they are chosen by the space there is. */
  readonly ticks?: readonly number[];
}

/** One stop of the reading cursor: a place and what stands there, in words. */
export interface ReadablePoint {
  readonly x: number;
  readonly text: string;
}

export type Layer =
  BandLayer | LineLayer | WhiskerLayer | MarkLayer | SpanLayer | RuleLayer | BarLayer | LabelLayer;

export interface BandLayer {
  readonly kind: 'band';
  readonly x: readonly number[];
  readonly lower: readonly number[];
  readonly upper: readonly number[];
  readonly tone: Tone;
  /** Keep each value until the next x, as a step function does. */
  readonly stepped?: boolean;
}

export interface LineLayer {
  readonly kind: 'line';
  readonly x: readonly number[];
  readonly y: readonly number[];
  readonly tone: Tone;
  readonly dash?: readonly number[];
  readonly width?: number;
  readonly stepped?: boolean;
}

/** An interval at one x. A null limit is open: the line runs off the chart with an arrow. */
export interface WhiskerLayer {
  readonly kind: 'whisker';
  readonly x: number;
  readonly lower: number | null;
  readonly upper: number | null;
  readonly tone: Tone;
}

export interface MarkLayer {
  readonly kind: 'mark';
  readonly x: number;
  readonly y: number;
  readonly shape: ShapeName;
  readonly tone: Tone;
}

/** A stretch of the x axis shaded from top to bottom, with a name. */
export interface SpanLayer {
  readonly kind: 'span';
  readonly from: number;
  readonly to: number;
  readonly tone: Tone;
  readonly label?: string;
}

/** A level line across the whole chart. */
export interface RuleLayer {
  readonly kind: 'rule';
  readonly at: number;
  readonly tone: Tone;
  readonly dash?: readonly number[];
}

export interface BarLayer {
  readonly kind: 'bar';
  readonly x: number;
  readonly width: number;
  readonly from: number;
  readonly to: number;
  readonly tone: Tone;
  readonly texture: Texture;
}

/** Words beside a line, so that the key need not be searched. They end at `x` and stand on `y`. */
export interface LabelLayer {
  readonly kind: 'label';
  readonly x: number;
  readonly y: number;
  readonly text: string;
  readonly tone: Tone;
}

export type Texture = 'solid' | 'hatched' | 'open';

/** One line of the key under the chart. */
export type KeyEntry =
  | { readonly kind: 'line'; readonly tone: Tone; readonly dash?: readonly number[]; readonly label: string }
  | { readonly kind: 'band'; readonly tone: Tone; readonly label: string }
  | {
      readonly kind: 'mark';
      readonly shape: ShapeName;
      readonly tone: Tone;
      readonly label: string;
      /** The dash of the line that the sign stands on; left out for a sign alone, empty for a solid line. */
      readonly dash?: readonly number[];
    }
  | { readonly kind: 'bar'; readonly texture: Texture; readonly tone: Tone; readonly label: string };

/** The x axis of figures that show whole years, with room for a bar at either end. */
export function wholeYearsAxis(lastYear: number): ChartAxis {
  return {
    label: YEARS_SINCE_END,
    range: [0.4, lastYear + 0.6],
    write: (value) => String(value),
    ticks: Array.from({ length: lastYear }, (_, index) => index + 1),
  };
}

/** The x axis of curves over the years since the end of active treatment, from there to `last`. */
export function sinceEndAxis(last: number, room = 0.15): ChartAxis {
  return {
    label: YEARS_SINCE_END,
    range: [-0.15, last + room],
    write: (value) => String(value),
    ticks: Array.from({ length: Math.floor(last + 1e-9) + 1 }, (_, year) => year),
  };
}

/** The y axis of shares of patients, from none to all. */
export function patientShareAxis(label: string): ChartAxis {
  return {
    label,
    range: [-0.03, 1.05],
    write: (value) => percentText(value),
    ticks: [0, 0.25, 0.5, 0.75, 1],
  };
}

/** The range of some values, widened at both ends by a share of itself; [0, 1] when there are none. */
export function paddedRange(values: readonly number[], pad: number): readonly [number, number] {
  const finite = values.filter(Number.isFinite);
  if (finite.length === 0) return [0, 1];
  const low = finite.reduce((least, value) => Math.min(least, value), Infinity);
  const high = finite.reduce((most, value) => Math.max(most, value), -Infinity);
  const margin = (high - low || 1) * pad;
  return [low - margin, high + margin];
}

/** The corners of a line; a stepped one keeps its value until the next x. */
export function corners(x: readonly number[], y: readonly number[], stepped: boolean): [number, number][] {
  return x.flatMap((at, i): [number, number][] => {
    const before = y[i - 1];
    const own: [number, number] = [at, y[i] ?? before ?? 0];
    return stepped && before !== undefined ? [[at, before], own] : [own];
  });
}

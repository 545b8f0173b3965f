import type { Verdict } from '@longhold/core/retention';
import type { RecallState } from '@longhold/core/recall';

/** Signs drawn in a box of 16 by 16 around its centre; the same outlines serve the canvas and the page. */
export type ShapeName = 'disc' | 'triangle' | 'diamond' | 'lozenge' | 'square' | 'block' | 'ring' | 'cross';

interface Shape {
  readonly outline: string;
  /** Filled signs stand for a decided status, open ones for doubt or absence. */
  readonly filled: boolean;
}

export const SHAPES: Readonly<Record<ShapeName, Shape>> = {
  disc: { outline: 'M8 2.5a5.5 5.5 0 1 1 0 11a5.5 5.5 0 1 1 0-11z', filled: true },
  triangle: { outline: 'M1.8 3.2h12.4l-6.2 10.6z', filled: true },
  diamond: { outline: 'M8 1.6l6.4 6.4l-6.4 6.4l-6.4-6.4z', filled: false },
  lozenge: { outline: 'M8 1.6l6.4 6.4l-6.4 6.4l-6.4-6.4z', filled: true },
  square: { outline: 'M3 3h10v10h-10z', filled: false },
  block: { outline: 'M4 4h8v8h-8z', filled: true },
  ring: { outline: 'M8 3.2a4.8 4.8 0 1 1 0 9.6a4.8 4.8 0 1 1 0-9.6z', filled: false },
  cross: { outline: 'M3 3l10 10M13 3l-10 10', filled: false },
};

/** Names of the chart colours in tokens.css: `--chart-held` and so on. */
export type Tone =
  | 'ink'
  | 'quiet'
  | 'grid'
  | 'expected'
  | 'band'
  | 'answer'
  | 'answer-band'
  | 'compare'
  | 'phase'
  | 'held'
  | 'lost'
  | 'doubt'
  | 'none'
  | 'again'
  | 'cursor';

/** The colour of a tone, as style sheets write it. */
export function toneColour(tone: Tone): string {
  return `var(--chart-${tone})`;
}

export interface Sign {
  readonly shape: ShapeName;
  readonly tone: Tone;
}

/** Each verdict has a shape of its own, so that colour is never the only difference. */
export const VERDICT_SIGNS: Readonly<Record<Verdict, Sign>> = {
  held: { shape: 'disc', tone: 'held' },
  lost: { shape: 'triangle', tone: 'lost' },
  'cannot-tell': { shape: 'diamond', tone: 'doubt' },
  'not-measurable': { shape: 'square', tone: 'none' },
  'no-follow-up': { shape: 'ring', tone: 'none' },
  'treated-again': { shape: 'cross', tone: 'again' },
};

export const RECALL_SIGNS: Readonly<Record<RecallState, Sign>> = {
  overdue: { shape: 'triangle', tone: 'lost' },
  due: { shape: 'disc', tone: 'answer' },
  lost: { shape: 'cross', tone: 'again' },
  upcoming: { shape: 'ring', tone: 'none' },
  complete: { shape: 'square', tone: 'held' },
  stopped: { shape: 'diamond', tone: 'none' },
};

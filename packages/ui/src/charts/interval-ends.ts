import type { RatioInterval } from '@longhold/core/ratio';

/** The ends of a set of ratios; one that is no single stretch is drawn as open at both ends. */
export function intervalEnds(interval: RatioInterval): {
  readonly lower: number | null;
  readonly upper: number | null;
} {
  switch (interval.kind) {
    case 'bounded':
      return { lower: interval.lower, upper: interval.upper };
    case 'at-least':
      return { lower: interval.lower, upper: null };
    case 'at-most':
      return { lower: null, upper: interval.upper };
    case 'unbounded':
    case 'whole-line':
      return { lower: null, upper: null };
  }
}

import type { SensitivityAnswer, SensitivityRow } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import type { RatioInterval } from '@longhold/core/ratio';
import { formatChange, formatLimits, formatRatioInterval, formatShare, formatShareLimits } from '../format';
import { paddedRange, type ChartModel, type Layer } from './chart-model';

/** Which of the main results is compared: one for each question of Outcomes. */
export type ComparedResult = 'kept' | 'lasts' | 'grown';

/** A result under one choice. A null limit is open. */
interface Compared {
  readonly estimate: number;
  readonly lower: number | null;
  readonly upper: number | null;
  /** Estimate and interval in words. */
  readonly words: string;
}

interface Comparison {
  readonly label: string;
  readonly of: (row: SensitivityRow) => Compared | null;
  readonly write: (value: number) => string;
  /** The axis holds these, and nothing beyond `widest`. */
  readonly always: readonly number[];
  readonly widest: readonly [number, number];
  /** A level that matters: nothing lasts, all is kept. */
  readonly rule: number | null;
}

/** One of the main results under each choice, numbered as in the table, with intervals; the choice in force filled. */
export function sensitivityModel(
  answer: SensitivityAnswer,
  compared: ComparedResult,
  measure: MeasureDefinition,
): ChartModel {
  const { label, of, write, always, widest, rule } = comparisonOf(compared, answer, measure);
  const shown = answer.rows.flatMap((row, i) => {
    const result = of(row);
    return result === null ? [] : [{ ...row, ...result, at: i + 1 }];
  });
  const ends = shown.flatMap(({ estimate, lower, upper }) => [
    estimate,
    lower ?? estimate,
    upper ?? estimate,
  ]);
  const [low, high] = paddedRange([...always, ...ends], 0.08);
  return {
    x: {
      label: 'Number of the choice in the table',
      range: [0.4, Math.max(1, answer.rows.length) + 0.6],
      write: (value) => String(value),
      ticks: answer.rows.map((_, i) => i + 1),
    },
    y: { label, range: [Math.max(low, widest[0]), Math.min(high, widest[1])], write },
    layers: [
      ...(rule === null ? [] : [{ kind: 'rule', at: rule, tone: 'ink' } as const]),
      ...shown.flatMap(({ at, estimate, lower, upper, inForce }): Layer[] => {
        const tone = inForce ? 'answer' : 'quiet';
        return [
          { kind: 'whisker', x: at, lower, upper, tone },
          { kind: 'mark', x: at, y: estimate, shape: inForce ? 'disc' : 'square', tone },
        ];
      }),
    ],
    under: null,
    points: shown.map(({ at, choice, inForce, words }) => ({
      x: at,
      text: `${at}. ${choice}${inForce ? ' (as asked)' : ''}: ${words}.`,
    })),
    key: [
      { kind: 'mark', shape: 'disc', tone: 'answer', label: 'As asked' },
      { kind: 'mark', shape: 'square', tone: 'quiet', label: 'With one thing changed' },
    ],
  };
}

function comparisonOf(
  compared: ComparedResult,
  { retainedYear, survivalYear }: SensitivityAnswer,
  { code, unit }: MeasureDefinition,
): Comparison {
  switch (compared) {
    case 'kept':
      return {
        label: `Share kept at year ${retainedYear ?? '\u2013'}`,
        of: ({ retained }) =>
          retained === null
            ? null
            : {
                estimate: retained.estimate,
                ...endsOf(retained.interval),
                words: `${formatShare(retained.estimate)} kept (${formatRatioInterval(retained.interval)}; ${retained.n} patients)`,
              },
        write: (value) => formatShare(value),
        always: [0, 1],
        widest: [-0.5, 2],
        rule: 1,
      };
    case 'lasts':
      return {
        label: `Still there at year ${survivalYear ?? '\u2013'}`,
        of: ({ survival }) => (survival === null ? null : survivalResult(survival)),
        write: (value) => formatShare(value),
        always: [0, 1],
        widest: [-0.03, 1.05],
        rule: null,
      };
    case 'grown': {
      const write = (value: number): string => formatChange(value, unit);
      return {
        label: `Lasting gain in ${code}`,
        of: ({ lasting }) =>
          lasting === null
            ? null
            : {
                estimate: lasting.estimate,
                lower: lasting.limits?.lower ?? null,
                upper: lasting.limits?.upper ?? null,
                words: `lasting gain ${write(lasting.estimate)}${lasting.limits === null ? ', no interval can be given' : ` (${formatLimits(lasting.limits, write)})`}`,
              },
        write,
        always: [0],
        widest: [-Infinity, Infinity],
        rule: 0,
      };
    }
  }
}

function survivalResult({
  estimate,
  limits,
  atRisk,
}: NonNullable<SensitivityRow['survival']>): Compared | null {
  if (estimate === null) return null;
  const interval = limits === null ? '' : `${formatShareLimits(limits)}; `;
  return {
    estimate,
    lower: limits?.lower ?? null,
    upper: limits?.upper ?? null,
    words: `${formatShare(estimate)} still have the gain (${interval}${atRisk} at risk)`,
  };
}

/** The ends of a set of ratios; one that is no single stretch is drawn as open at both ends. */
function endsOf(interval: RatioInterval): { lower: number | null; upper: number | null } {
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

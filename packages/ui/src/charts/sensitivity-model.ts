import type { ComparedResults, SensitivityAnswer } from '@longhold/core/answers';
import type { MeasureDefinition } from '@longhold/core/measures';
import { formatChange, formatLimits, formatRatioInterval, formatShare, formatShareLimits } from '../format';
import { intervalEnds } from './interval-ends';
import { paddedRange, type ChartModel, type Layer } from './chart-model';

/** Which of the main results is compared: one for each question of Outcomes. */
export type ComparedResult = 'kept' | 'lasts' | 'grown';

/** A result under one choice. A null limit is open; a bound has no interval at all. */
interface Compared {
  readonly estimate: number;
  readonly lower: number | null;
  readonly upper: number | null;
  readonly isBound: boolean;
  /** Estimate and interval in words. */
  readonly words: string;
}

interface Comparison {
  readonly label: string;
  readonly of: (results: ComparedResults) => Compared | null;
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
  const rows = answer.rows.map((row) => ({ label: row.choice, inForce: row.inForce, results: row }));
  return comparisonModel(rows, comparisonOf(compared, answer, measure), {
    axis: 'Number of the choice in the table',
    others: 'With one thing changed',
  });
}

/** One of the main results under each growth reference, numbered as in the table; the one in force filled. */
export function referencesModel(
  answer: SensitivityAnswer,
  compared: ComparedResult,
  measure: MeasureDefinition,
): ChartModel {
  return comparisonModel(answer.references.rows, comparisonOf(compared, answer, measure), {
    axis: 'Number of the growth reference in the table',
    others: 'With another growth reference',
  });
}

/** One way of answering: how it is written, and its results; null where it has none. */
interface ComparedRow {
  readonly label: string;
  readonly inForce: boolean;
  readonly results: ComparedResults | null;
}

interface ComparisonWords {
  /** What the numbers under the axis stand for. */
  readonly axis: string;
  /** What those are that are not in force. */
  readonly others: string;
}

function comparisonModel(
  rows: readonly ComparedRow[],
  { label, of, write, always, widest, rule }: Comparison,
  words: ComparisonWords,
): ChartModel {
  const shown = rows.flatMap(({ label: name, inForce, results }, i) => {
    const result = results === null ? null : of(results);
    return result === null ? [] : [{ name, inForce, ...result, at: i + 1 }];
  });
  const ends = shown.flatMap(({ estimate, lower, upper }) => [
    estimate,
    lower ?? estimate,
    upper ?? estimate,
  ]);
  const [low, high] = paddedRange([...always, ...ends], 0.08);
  return {
    x: {
      label: words.axis,
      range: [0.4, Math.max(1, rows.length) + 0.6],
      write: (value) => String(value),
      ticks: rows.map((_, i) => i + 1),
    },
    y: { label, range: [Math.max(low, widest[0]), Math.min(high, widest[1])], write },
    layers: [
      ...(rule === null ? [] : [{ kind: 'rule', at: rule, tone: 'ink' } as const]),
      ...shown.flatMap(({ at, estimate, lower, upper, isBound, inForce }): Layer[] => {
        const tone = inForce ? 'answer' : 'quiet';
        return [
          ...(isBound ? [] : [{ kind: 'whisker', x: at, lower, upper, tone } as const]),
          { kind: 'mark', x: at, y: estimate, shape: inForce ? 'disc' : 'square', tone },
        ];
      }),
    ],
    under: null,
    points: shown.map(({ at, name, inForce, words: text }) => ({
      x: at,
      text: `${at}. ${name}${inForce ? ' (as asked)' : ''}: ${text}.`,
    })),
    key: [
      { kind: 'mark', shape: 'disc', tone: 'answer', label: 'As asked' },
      { kind: 'mark', shape: 'square', tone: 'quiet', label: words.others },
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
                ...intervalEnds(retained.interval),
                isBound: false,
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
                isBound: false,
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
}: NonNullable<ComparedResults['survival']>): Compared | null {
  if (estimate === null) return null;
  const interval = limits === null ? 'a bound; ' : `${formatShareLimits(limits)}; `;
  return {
    estimate,
    lower: limits?.lower ?? null,
    upper: limits?.upper ?? null,
    isBound: limits === null,
    words: `${formatShare(estimate)} still have the gain (${interval}${atRisk} at risk)`,
  };
}

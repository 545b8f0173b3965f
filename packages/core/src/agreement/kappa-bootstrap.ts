import {
  acceleratedLimits,
  bootstrapReplicates,
  createRandom,
  isRefusal,
  jackknifeAcceleration,
  percentileLimits,
  refuse,
  type BootstrapLimits,
  type Refusal,
} from '../numeric';
import { kappaOf, weightedKappa, weightTable, type KappaWeights } from './weighted-kappa';

/** Bootstrap limits of kappa; subjects are drawn. */
export interface KappaBootstrap {
  readonly kappa: number;
  readonly level: number;
  readonly replicates: number;
  /** Samples that fell into one category, where kappa is not defined; they are left out. */
  readonly undefinedReplicates: number;
  readonly percentile: BootstrapLimits;
  /** Bias-corrected and accelerated; null where `acceleratedLimits` gives none, as with full agreement. */
  readonly accelerated: BootstrapLimits | null;
}

/**
 * Percentile and BCa limits of weighted kappa, the same for the same seed.
 * Refuses what `weightedKappa` refuses, more than a million subjects, and a table of which more than one sample in ten has no kappa.
 * Source: Efron and Tibshirani 1993, chapters 13 and 14.
 */
export function bootstrapKappa(
  table: readonly (readonly number[])[],
  options: {
    readonly weights?: KappaWeights;
    readonly level?: number;
    readonly replicates?: number;
    readonly seed?: number;
  } = {},
): KappaBootstrap | Refusal {
  const { weights = 'unweighted', level = 0.95, replicates = 1999, seed = 1 } = options;
  const whole = weightedKappa(table, { weights, level });
  if (isRefusal(whole)) return whole;
  if (whole.subjects > MOST_SUBJECTS) {
    return refuse(
      'too-many',
      `The table counts ${whole.subjects} subjects; the bootstrap takes up to ${MOST_SUBJECTS}, and large-sample limits hold there.`,
    );
  }
  const weight = weightTable(weights, table.length);
  if (isRefusal(weight)) return weight;
  const cells = table.flatMap((row, i) =>
    row.flatMap((count, j) => Array.from({ length: count }, (): readonly [number, number] => [i, j])),
  );
  const drawn = bootstrapReplicates(cells.length, replicates, createRandom(seed), (rows) => {
    const counts = table.map((row) => row.map(() => 0));
    for (const row of rows) add(counts, cells[row], 1);
    return kappaOf(counts, weight);
  });
  if (drawn.undefinedCount > replicates / 10) {
    return refuse(
      'undefined-samples',
      `Kappa is not defined in ${drawn.undefinedCount} of ${replicates} samples drawn from the table; ` +
        'bootstrap limits need more subjects outside the main category.',
    );
  }
  return {
    kappa: whole.kappa,
    level,
    replicates,
    undefinedReplicates: drawn.undefinedCount,
    percentile: percentileLimits(drawn.values, level),
    accelerated: acceleratedLimits(drawn.values, whole.kappa, acceleration(table, weight, cells), level),
  };
}

const MOST_SUBJECTS = 1_000_000;

function acceleration(
  table: readonly (readonly number[])[],
  weight: readonly (readonly number[])[],
  cells: readonly (readonly [number, number])[],
): number {
  const known = new Map<number, number | null>();
  const leftOut = cells.map((cell) => {
    const place = cell[0] * table.length + cell[1];
    const value = known.get(place);
    if (value !== undefined) return value;
    const counts = table.map((row) => [...row]);
    add(counts, cell, -1);
    const kappa = kappaOf(counts, weight);
    known.set(place, kappa);
    return kappa;
  });
  return jackknifeAcceleration(leftOut.filter((value) => value !== null));
}

function add(counts: number[][], cell: readonly [number, number] | undefined, amount: number): void {
  if (cell === undefined) return;
  const row = counts[cell[0]];
  if (row !== undefined) row[cell[1]] = (row[cell[1]] ?? 0) + amount;
}

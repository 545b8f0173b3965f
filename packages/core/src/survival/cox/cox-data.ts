import {
  checkColumn,
  designMatrix,
  NOT_NEGATIVE,
  POSITIVE,
  refuse,
  type ColumnRule,
  type DesignMatrix,
  type DesignRefusal,
  type DesignTerm,
  type Refusal,
} from '../../numeric';
import type { CoxColumns } from './cox-rows';

/** One row a subject, or one row for each stretch of a subject's time. All columns have the same length. */
export interface CoxData {
  /** End of the time under observation, 0 or more, in any unit. */
  readonly time: ArrayLike<number>;
  /** 1: the event happened at `time`; 0: censored there. */
  readonly event: ArrayLike<number>;
  /** Start of the time under observation (left truncation), below `time`. Default: from the beginning. */
  readonly entry?: ArrayLike<number>;
  /** Above 0; whole numbers stand for repeated rows (exactly so with Breslow's ties). Default 1. */
  readonly weights?: ArrayLike<number>;
  /** Rows are compared only within their stratum; each has a baseline hazard of its own. */
  readonly strata?: ArrayLike<string | number>;
  /** Rows with the same label may depend on each other; leads to the cluster-robust covariance. */
  readonly clusters?: ArrayLike<string | number>;
  /** Numeric covariates and factors; the model has no intercept. */
  readonly covariates: readonly DesignTerm[];
}

/** What can be wrong with the columns themselves. */
export type CoxDataRefusal =
  | DesignRefusal
  | Refusal<'no-rows' | 'no-covariates' | 'no-events' | 'wrong-length' | 'wrong-value' | 'entry-after-time'>;

const EVENT: ColumnRule = { holds: (value) => value === 0 || value === 1, must: '0 or 1' };

/** Checks all that can be seen without fitting, and makes the design matrix. */
export function checkedCoxData(
  data: CoxData,
): { readonly columns: CoxColumns; readonly design: DesignMatrix } | CoxDataRefusal {
  const { time, event, entry = null, weights = null, strata = null } = data;
  const rows = time.length;
  if (rows === 0) return refuse('no-rows', 'There are no rows; a Cox regression needs rows with events.');
  if (data.covariates.length === 0) {
    return refuse('no-covariates', 'There are no covariates; a Cox regression needs at least one.');
  }
  const faulty =
    checkColumn('time', time, NOT_NEGATIVE) ??
    checkColumn('event', event, EVENT, rows) ??
    (entry && checkColumn('entry', entry, NOT_NEGATIVE, rows)) ??
    (weights && checkColumn('weights', weights, POSITIVE, rows)) ??
    (entry && entryFault(entry, time)) ??
    (strata && labelFault('strata', strata, rows)) ??
    (data.clusters && labelFault('clusters', data.clusters, rows));
  if (faulty) return faulty;
  if (!Array.prototype.includes.call(event, 1)) {
    return refuse(
      'no-events',
      `None of the ${rows} rows has an event; without events no hazards can be compared.`,
    );
  }
  const design = designMatrix(data.covariates, rows, { intercept: false });
  return 'refused' in design ? design : { columns: { time, event, entry, weights, strata }, design };
}

function entryFault(entry: ArrayLike<number>, time: ArrayLike<number>): Refusal<'entry-after-time'> | null {
  for (let i = 0; i < time.length; i++) {
    const from = entry[i] ?? NaN;
    const to = time[i] ?? NaN;
    if (from < to) continue;
    return refuse(
      'entry-after-time',
      `entry[${i}] is ${from} and time[${i}] is ${to}; entry must be earlier.`,
    );
  }
  return null;
}

function labelFault(
  name: string,
  labels: ArrayLike<string | number>,
  rows: number,
): Refusal<'wrong-length' | 'wrong-value'> | null {
  if (labels.length !== rows) {
    return refuse('wrong-length', `${name} has ${labels.length} entries where ${rows} are needed.`);
  }
  const wrong = Array.prototype.findIndex.call(
    labels,
    (label) => typeof label === 'number' && !Number.isFinite(label),
  );
  return wrong < 0
    ? null
    : refuse(
        'wrong-value',
        `${name}[${wrong}] is ${labels[wrong] ?? 'missing'}; it must be a text or a finite number.`,
      );
}

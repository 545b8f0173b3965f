import { createRandom, isRefusal } from '@longhold/core/numeric';
import { concordance, fitCox, type CoxData } from '@longhold/core/survival';
import type { SpeedCase } from './speed-case';

interface Columns {
  readonly time: Float64Array;
  readonly event: Float64Array;
  readonly entry: Float64Array;
  readonly x1: Float64Array;
  readonly x2: Float64Array;
  readonly x3: Float64Array;
}

/** Three covariates, half of the rows censored; `days` rounds times to whole days, which ties most of them. */
function drawn(size: number, days: boolean): Columns {
  const random = createRandom(size);
  const column = (): Float64Array => new Float64Array(size);
  const columns = {
    time: column(),
    event: column(),
    entry: column(),
    x1: column(),
    x2: column(),
    x3: column(),
  };
  for (let i = 0; i < size; i++) {
    const x1 = random.normal();
    const x2 = random.uniform() < 0.4 ? 1 : 0;
    const x3 = 2000 + 10 * random.uniform();
    const event = random.exponential(0.1 * Math.exp(0.5 * x1 - 0.7 * x2 + 0.05 * (x3 - 2005)));
    const censoring = random.exponential(0.1);
    const seen = Math.min(event, censoring);
    columns.time[i] = days ? Math.ceil(365.25 * seen) : seen;
    columns.event[i] = event <= censoring ? 1 : 0;
    columns.entry[i] = 0.5 * random.uniform() * (columns.time[i] ?? 0);
    columns.x1[i] = x1;
    columns.x2[i] = x2;
    columns.x3[i] = x3;
  }
  return columns;
}

function dataOf(columns: Columns, late: boolean): CoxData {
  return {
    time: columns.time,
    event: columns.event,
    ...(late && { entry: columns.entry }),
    covariates: (['x1', 'x2', 'x3'] as const).map((name) => ({
      kind: 'numeric',
      name,
      values: columns[name],
    })),
  };
}

/** As coxph() does: the fit, its covariance and tests, and the concordance. */
function whole(data: CoxData): unknown {
  const fit = fitCox(data);
  return isRefusal(fit) ? fit : { fit, agreement: concordance(fit) };
}

const SIZES = [1_000, 10_000, 30_000, 100_000, 1_000_000];

function speedCase(name: string, script: string, options: { days: boolean; late: boolean }): SpeedCase {
  return {
    name,
    wanted: "no slower than R's coxph at 100,000",
    sizes: SIZES,
    prepare(size) {
      const columns = drawn(size, options.days);
      const data = dataOf(columns, options.late);
      return { ours: () => whole(data), r: { script, columns: { ...columns } } };
    },
  };
}

export const COX_SPEED: readonly SpeedCase[] = [
  speedCase('Cox regression with concordance, 3 covariates', 'cox', { days: false, late: false }),
  speedCase('Cox regression with concordance, times in days', 'cox', { days: true, late: false }),
  speedCase('Cox regression with concordance, late entry', 'cox-late-entry', { days: false, late: true }),
  {
    name: 'Cox regression, the fit alone',
    wanted: "no slower than R's coxph.fit at 100,000",
    sizes: SIZES,
    prepare(size) {
      const columns = drawn(size, false);
      const data = dataOf(columns, false);
      return { ours: () => fitCox(data), r: { script: 'cox-fit-alone', columns: { ...columns } } };
    },
  },
];

import { createRandom, isRefusal } from '@longhold/core/numeric';
import {
  timeRegression,
  turnbullBootstrap,
  turnbullCurve,
  type IntervalTimes,
} from '@longhold/core/survival';
import type { SpeedCase } from './speed-case';

/** R's survfit takes minutes beyond this many patients. */
const MOST_IN_R = 500;
const RESAMPLES = 2000;
const RESAMPLES_IN_R = 20;

/** Two visits at continuous times, so that nearly all intervals are distinct. Invented. */
function twoVisits(size: number): IntervalTimes & { readonly covariate: Float64Array } {
  const random = createRandom(size);
  const left = new Float64Array(size);
  const right = new Float64Array(size);
  const covariate = new Float64Array(size);
  for (let i = 0; i < size; i++) {
    covariate[i] = random.normal();
    const time = random.exponential(0.3) * Math.exp(0.3 * (covariate[i] ?? 0));
    const first = 0.05 + 5 * random.uniform();
    const second = first + 0.05 + 5 * random.uniform();
    left[i] = time <= first ? 0 : time <= second ? first : second;
    right[i] = time <= first ? first : time <= second ? second : Infinity;
  }
  return { left, right, covariate };
}

/** The columns as R reads them; an open end is left empty. */
function forR(
  data: IntervalTimes & { readonly covariate?: Float64Array },
): Record<string, ArrayLike<number>> {
  return {
    left: data.left,
    right: Array.from(data.right, (value) => (value === Infinity ? 1e9 : value)),
    covariate: data.covariate ?? data.left,
  };
}

export const INTERVAL_CENSORED_SPEED: readonly SpeedCase[] = [
  {
    name: "Turnbull's curve, distinct intervals",
    wanted: '100 times as fast as survfit at 500; 20 ms at 2,000',
    sizes: [125, 250, 500, 2000, 10_000],
    prepare: (size) => {
      const data = twoVisits(size);
      const ours = (): unknown => {
        const fit = turnbullCurve(data);
        if (isRefusal(fit) || !fit.converged) throw new Error('no maximum');
        return fit;
      };
      return size > MOST_IN_R ? { ours } : { ours, r: { script: 'turnbull', columns: forR(data) } };
    },
  },
  {
    name: `${RESAMPLES} bootstrap curves here, ${RESAMPLES_IN_R} in R`,
    wanted: 'less than the time of 20 in R at 500',
    sizes: [125, 250, 500],
    prepare: (size) => {
      const data = twoVisits(size);
      return {
        ours: () => turnbullBootstrap(data, [1, 2, 5], { level: 0.95, resamples: RESAMPLES, seed: 1 }),
        r: { script: 'turnbull-bootstrap', columns: forR(data) },
      };
    },
  },
  {
    name: 'Weibull regression, interval-censored',
    wanted: 'no slower than survreg',
    sizes: [500, 5000, 50_000],
    prepare: (size) => {
      const data = twoVisits(size);
      return {
        ours: () =>
          timeRegression({
            times: data,
            distribution: 'weibull',
            terms: [{ kind: 'numeric', name: 'covariate', values: data.covariate }],
          }),
        r: { script: 'interval-regression', columns: forR(data) },
      };
    },
  },
];

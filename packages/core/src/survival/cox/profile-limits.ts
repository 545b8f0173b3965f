import { chiSquaredQuantile, refuse, rootBetween, type Refusal } from '../../numeric';
import type { CoxFit } from './cox-fit';
import { maximisePartialLikelihood } from './newton';

/** Limits of one log hazard ratio from its profile likelihood. */
export interface ProfileLimits {
  readonly name: string;
  /** Null where the likelihood never falls far enough below: the estimate is infinite on that side, or undetermined. */
  readonly lower: number | null;
  readonly upper: number | null;
  /** exp of the limits: 0 where the lower log limit is open; null where the upper is, or a ratio is too large for a number. */
  readonly hazardRatio: { readonly lower: number | null; readonly upper: number | null };
}

/**
 * Profile-likelihood limits: all values of a coefficient at which twice the fall of the log partial likelihood, the
 * other coefficients chosen anew, is at most the chi-squared quantile on one degree of freedom. They follow the skew
 * of the likelihood and stay valid on the open side of an infinite estimate.
 * Sources: Cox and Oakes 1984, section 3.3; Venzon and Moolgavkar 1988; Heinze and Schemper 2001.
 *
 * @param level default: that of the fit
 * @returns a refusal `robust-fit` where rows depend on each other or weights are sampling weights: the likelihood is
 *   then none
 */
export function profileLimits(
  fit: CoxFit,
  level: number = fit.level,
): ProfileLimits[] | Refusal<'robust-fit' | 'wrong-level'> {
  if (fit.robust) {
    return refuse(
      'robust-fit',
      'A fit with clusters or sampling weights has no likelihood to profile; use its robust Wald limits.',
    );
  }
  if (!(level > 0 && level < 1)) {
    return refuse('wrong-level', `level is ${level}; it must lie between 0 and 1, such as 0.95.`);
  }
  const { sorted, names } = fit.model;
  const { states } = fit.model.finite;
  return names.map((name, j) => {
    const open = { finite: 0, plus: 1, minus: -1, undetermined: null }[states[j] ?? 'finite'];
    const scale = sorted.scale[j] ?? 1;
    const limit = (side: 1 | -1): number | null => {
      const found = open === null || open === side ? null : sideLimit(fit, j, side, level);
      return found === null ? null : found / scale;
    };
    const lower = limit(-1);
    const upper = limit(1);
    return {
      name,
      lower,
      upper,
      hazardRatio: { lower: lower === null ? 0 : ratio(lower), upper: upper === null ? null : ratio(upper) },
    };
  });
}

/** Null where the ratio is too large for a number. */
function ratio(logRatio: number): number | null {
  const value = Math.exp(logRatio);
  return Number.isFinite(value) ? value : null;
}

const MOST_STEPS = 60;

/** The limit on one side on the scale of the standardised covariates; null where none is found. */
function sideLimit(
  { model, ties, logLikelihood }: CoxFit,
  j: number,
  side: 1 | -1,
  level: number,
): number | null {
  const { sorted, maximum } = model;
  const wanted = chiSquaredQuantile(level, 1);
  const centre = maximum.coefficients[j] ?? 0;
  let start = maximum.coefficients;
  const excess = (distance: number): number => {
    const held = start.slice();
    held[j] = centre + side * distance;
    const profile = maximisePartialLikelihood(sorted, ties, held, j);
    start = profile.coefficients;
    return 2 * (logLikelihood - profile.logLikelihood) - wanted;
  };
  const size = sorted.columns;
  const curvature = maximum.information[j * size + j] ?? 0;
  let inside = 0;
  let outside = Math.min(1, Math.sqrt(wanted / Math.max(curvature, wanted)));
  for (let step = 0; step < MOST_STEPS; step++) {
    if (excess(outside) > 0) {
      const found = rootBetween(excess, inside, outside, 1e-11 * outside);
      return found === null ? null : centre + side * found;
    }
    inside = outside;
    outside *= 1.6;
  }
  return null;
}

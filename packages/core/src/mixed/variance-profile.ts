import { chiSquaredQuantile, refuse, rootBetween, type Refusal } from '../numeric';
import { profilePaths, type ProfilePath } from './profile-paths';
import type { MixedFit } from './linear-mixed-model';
import type { MixedModel } from './mixed-model';
import { smoothMinimum } from './smooth-minimum';
import type { VarianceComponent } from './variance-components';

/** A variance component with its profile-likelihood interval. */
export interface ProfiledComponent extends VarianceComponent {
  /** Limits; 0, -1 or 1 where the likelihood does not exclude the bound. Null where there is no limit: see `note`. */
  readonly lower: number | null;
  readonly upper: number | null;
  /** Why a limit is missing; null where none is. */
  readonly note: string | null;
}

/**
 * Standard deviations and correlations with profile-likelihood intervals: all values at which the deviance, at
 * its best over everything else, exceeds its minimum by no more than the chi-squared quantile on one degree of
 * freedom. The deviance is that of the fit: restricted after REML, full after ML.
 *
 * @param places which components, by their place in the list of all; all where not given
 * Sources: Venzon and Moolgavkar 1988; Bates, Maechler, Bolker and Walker 2015, section 5.1.
 */
export function profileVarianceComponents(
  model: MixedModel,
  fit: MixedFit,
  level = 0.95,
  places?: readonly number[],
): readonly ProfiledComponent[] | Refusal<'wrong-level'> {
  if (!(level > 0 && level < 1)) {
    return refuse('wrong-level', `The level is ${level}; it must lie between 0 and 1, as 0.95.`);
  }
  const threshold = Math.sqrt(chiSquaredQuantile(level, 1));
  const paths = profilePaths(model, fit).filter((_, i) => places?.includes(i) ?? true);
  return paths.map(({ component, path, missing }) => {
    const { kind, factor, effects, estimate } = component;
    const shown = { kind, factor, effects, estimate };
    if (path === null) return { ...shown, lower: null, upper: null, note: missing };
    const deviance = -2 * fit.logLikelihood;
    const lower = limit(path, deviance, threshold, -1);
    const upper = limit(path, deviance, threshold, 1);
    return {
      ...shown,
      lower: lower.place,
      upper: upper.place,
      note: lower.note ?? upper.note,
    };
  });
}

interface Limit {
  readonly place: number | null;
  readonly note: string | null;
}

/** The limit on one side (-1 below, 1 above), from the estimate outwards. */
function limit(path: ProfilePath, deviance: number, threshold: number, side: -1 | 1): Limit {
  let better = false;
  const excess = (at: number): number => {
    // Always from the fit: where an effect vanished on the way, a search from there would not bring it back.
    const minimum = smoothMinimum(path.fixed(at), path.start);
    if (minimum === null) return NaN;
    const rise = minimum.value - deviance;
    if (rise < -1e-6 * (1 + Math.abs(deviance))) better = true;
    return Math.sqrt(Math.max(0, rise)) - threshold;
  };
  const failed: Limit = { place: null, note: 'The profile of the likelihood could not be followed.' };
  const bound = side < 0 ? path.lowest : path.highest;
  let inside = path.at;
  let outside = bound;
  if (bound === null) {
    outside = null;
    let step = path.scale;
    for (let doubling = 0; doubling < 40; doubling++) {
      const here = path.at + side * step;
      const value = excess(here);
      if (Number.isNaN(value)) return failed;
      if (value >= 0) {
        outside = here;
        break;
      }
      inside = here;
      step *= 2;
    }
    if (outside === null) return { place: null, note: 'The likelihood excludes no large value.' };
  } else {
    if (path.at === bound) return { place: path.shown(bound), note: null };
    const value = excess(bound);
    if (Number.isNaN(value)) return failed;
    if (value <= 0) return { place: path.shown(bound), note: null };
  }
  const atInside = inside === path.at ? -threshold : null;
  const root = rootBetween(
    (at) => (at === inside && atInside !== null ? atInside : excess(at)),
    inside,
    outside ?? inside,
    1e-10 * Math.max(path.scale, Math.abs(path.at)),
  );
  if (better) return { place: null, note: 'The profile found a better fit than the one given.' };
  return root === null ? failed : { place: path.shown(root), note: null };
}

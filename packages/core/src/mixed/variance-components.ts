import type { MixedFit } from './linear-mixed-model';
import type { MixedModel, TermBasis } from './mixed-model';

/** A standard deviation or a correlation of the random part. */
export interface VarianceComponent {
  readonly kind: 'standard-deviation' | 'correlation' | 'residual';
  /** What the groups are; `residual` for the scatter within them. */
  readonly factor: string;
  /** The random effect, or the two that are correlated; empty for the residual. */
  readonly effects: readonly string[];
  /** Null for a correlation with an effect whose variance is zero. */
  readonly estimate: number | null;
}

/** Where a component stands in the model, for its profile. */
export interface PlacedComponent extends VarianceComponent {
  readonly term: 'random' | 'outer' | 'residual';
  readonly places: readonly number[];
}

/** All standard deviations and estimated correlations: of the groups, of the outer groups, then the residual. */
export function placedComponents(model: MixedModel, fit: MixedFit): PlacedComponent[] {
  return [
    ...ofTerm('random', model.random, fit.randomCovariance, fit),
    ...(model.outer === null ? [] : ofTerm('outer', model.outer, fit.outerCovariance, fit)),
    {
      kind: 'residual',
      factor: 'residual',
      effects: [],
      estimate: fit.residualSd,
      term: 'residual',
      places: [],
    },
  ];
}

/** Standard deviations and estimated correlations of the random effects, and the residual standard deviation. */
export function varianceComponents(model: MixedModel, fit: MixedFit): readonly VarianceComponent[] {
  return placedComponents(model, fit).map(({ kind, factor, effects, estimate }) => ({
    kind,
    factor,
    effects,
    estimate,
  }));
}

function ofTerm(
  term: 'random' | 'outer',
  basis: TermBasis,
  covariance: readonly number[],
  fit: MixedFit,
): PlacedComponent[] {
  const { factor, names, size } = basis;
  const sds = names.map((_, i) => Math.sqrt(covariance[i * size + i] ?? NaN));
  const components: PlacedComponent[] = names.map((name, i) => ({
    kind: 'standard-deviation',
    factor,
    effects: [name],
    estimate: sds[i] ?? NaN,
    term,
    places: [i],
  }));
  if (basis.structure === 'diagonal') return components;
  for (let i = 0; i < size; i++) {
    for (let j = 0; j < i; j++) {
      const isZero = fit.singularities.some(
        (found) =>
          found.kind === 'zero-variance' &&
          found.factor === factor &&
          (found.effects[0] === names[i] || found.effects[0] === names[j]),
      );
      const raw = (covariance[i * size + j] ?? NaN) / ((sds[i] ?? NaN) * (sds[j] ?? NaN));
      components.push({
        kind: 'correlation',
        factor,
        effects: [names[j] ?? '', names[i] ?? ''],
        estimate: isZero ? null : Math.min(1, Math.max(-1, raw)),
        term,
        places: [j, i],
      });
    }
  }
  return components;
}

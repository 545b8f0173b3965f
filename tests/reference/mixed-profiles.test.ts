import { describe, expect, it } from 'vitest';
import { fitMixedModel, prepareMixedModel, profileVarianceComponents } from '@longhold/core/mixed';
import { expectClose } from './closeness';
import { readFixture } from './fixture';
import { answered, mixedData, type MixedModelRows } from './mixed-fixture';

interface ProfileCase extends MixedModelRows {
  readonly name: string;
  readonly criterion: 'REML' | 'ML';
  readonly kinds: ('sd' | 'cor' | 'residual')[];
  readonly estimates: (number | null)[];
  readonly limits: [number, number][];
}

const { cases } = readFixture<{ cases: ProfileCase[] }>('mixed-profiles');

/** Two root searches on a deviance that R minimises by differences: its height is good to some 1e-10, the root to its square root. Relative. */
const PROFILE_LIMIT = 1e-6;

const KINDS = { sd: 'standard-deviation', cor: 'correlation', residual: 'residual' } as const;

describe.each(cases)('Profile limits of $name, $criterion', (one) => {
  it('are those of a plain search with dense matrices in R', () => {
    const model = answered(prepareMixedModel(mixedData(one)));
    const fit = answered(fitMixedModel(model, { criterion: one.criterion }));
    const components = answered(profileVarianceComponents(model, fit));
    const left = [...components];
    one.kinds.forEach((kind, i) => {
      // R lists the correlation of two effects after their standard deviations, as here.
      const found = left.shift();
      if (found === undefined) throw new Error('a component is missing');
      expect(found.kind).toBe(KINDS[kind]);
      const [lower, upper] = one.limits[i] ?? [NaN, NaN];
      const smallest = kind === 'cor' ? 1 : fit.residualSd;
      const what = `${kind} ${i + 1}`;
      expect(found.note).toBeNull();
      expectClose(found.estimate ?? NaN, one.estimates[i] ?? NaN, PROFILE_LIMIT, what, smallest);
      expectClose(found.lower ?? NaN, lower, PROFILE_LIMIT, `lower limit of ${what}`, smallest);
      expectClose(found.upper ?? NaN, upper, PROFILE_LIMIT, `upper limit of ${what}`, smallest);
    });
    expect(left.every(({ kind }) => kind === 'residual')).toBe(true);
  });
});

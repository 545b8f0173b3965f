import { expect } from 'vitest';
import {
  combinationRow,
  curveCovariance,
  describeReference,
  expectedSize,
  growthReference,
  type GrowthReference,
} from '@longhold/core/growth';
import { findMeasure } from '@longhold/core/measures';
import type { Study } from '@longhold/core/records';
import { expectClose } from './closeness';
import { growthFixture, type GrowthFit, type SeriesName } from './growth-fixture';
import { MAXIMUM_PLACE, VARIANCE_COMPONENT } from './tolerances';

/** The reference that Longhold takes from a study's own untreated series. */
export function referenceOf(study: Study, code: string): GrowthReference {
  const measure = findMeasure(code);
  if (measure === undefined) throw new Error(`no measure ${code}`);
  return growthReference(study, measure, 'auto');
}

/** The restricted fit of r/growth.R with the degrees of freedom that Akaike's criterion takes there. */
export function chosenFit(name: SeriesName): GrowthFit {
  const { chosen } = growthFixture.choice[name];
  const fit = growthFixture.fits.find(
    (one) => one.name === name && one.method === 'REML' && one.degreesOfFreedom === chosen,
  );
  if (fit === undefined) throw new Error(`no fit of ${name}`);
  return fit;
}

/** Expected sizes, their uncertainty and the spread of children: all as R has them. */
export function expectReferenceOfR(reference: GrowthReference, fit: GrowthFit): void {
  const facts = describeReference(reference);
  if (facts.kind !== 'untreated-series') throw new Error(`reference from ${facts.kind}`);
  expect(facts.degreesOfFreedom).toBe(fit.degreesOfFreedom);
  expectClose(facts.residualSd ** 2, fit.residualVariance, VARIANCE_COMPONENT, 'residual variance');
  expectClose(facts.rateSd ** 2, fit.randomCovariance[1][1], VARIANCE_COMPONENT, 'variance of rates');
  for (const sex of fit.sexes) {
    fit.expected.ages.forEach((age, i) => {
      const row = combinationRow(reference, sex, [{ age, weight: 1 }]);
      const error = Math.sqrt(curveCovariance(reference, row, row));
      const sizes = fit.expected[sex];
      const size = expectedSize(reference, sex, age);
      expectClose(size, sizes?.value[i] ?? NaN, MAXIMUM_PLACE, `${sex} at ${age}`);
      expectClose(error, sizes?.standardError[i] ?? NaN, MAXIMUM_PLACE, `error of ${sex} at ${age}`);
    });
  }
}

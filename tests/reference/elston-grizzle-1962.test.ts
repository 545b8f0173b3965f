import { describe, expect, it } from 'vitest';
import { combinationRow, expectedSize } from '@longhold/core/growth';
import { mergeStudy } from '@longhold/core/intake';
import { mean, sampleVariance } from '@longhold/core/numeric';
import { agedValues } from '@longhold/core/records';
import { expectClose, expectWithin } from './closeness';
import { chosenFit, expectReferenceOfR, referenceOf } from './growth-expectations';
import { growthFixture } from './growth-fixture';
import { importPublished, meansByAge, slopesByChild } from './published-series';
import { CLOSED_FORM, printed } from './tolerances';

// Elston and Grizzle, Biometrics 1962;18:148-159: ramus height of 20 boys at 8, 8.5, 9 and 9.5 years.
const study = importPublished('elston-grizzle-1962');
const MEASURE = 'Co-Go';
const { ramus } = growthFixture.plain;

describe('ramus height of 20 boys (Elston and Grizzle 1962), through the real import', () => {
  it('all arrive, and importing them twice changes nothing', () => {
    expect(study).toHaveLength(20);
    expect(study.flatMap(({ visits }) => visits)).toHaveLength(80);
    expect(mergeStudy(study, importPublished('elston-grizzle-1962')).touched).toEqual([]);
  });

  it('has the published means', () => {
    const published = [48.655, 49.625, 50.57, 51.45];
    const means = meansByAge(study, 'male', MEASURE);
    expect(means.map(([age]) => age)).toEqual([8, 8.5, 9, 9.5]);
    means.forEach(([age, value], i) => {
      expectWithin(value, published[i] ?? NaN, printed(3), `at ${age}`);
      const r = ramus.meansBySex.male.means[i] ?? NaN;
      expectClose(value, r, CLOSED_FORM, `at ${age}, against R`);
    });
  });

  it("has R's least-squares slope for every boy, 1.866 mm a year on average, SD 1.165", () => {
    const slopes = slopesByChild(study, 'male', MEASURE);
    slopes.forEach((slope, i) =>
      expectClose(slope, ramus.male.slopes[i] ?? NaN, CLOSED_FORM, `boy ${i + 1}`),
    );
    expectWithin(mean(slopes), 1.866, printed(4));
    expectWithin(Math.sqrt(sampleVariance(slopes)), 1.1654, printed(4));
  });

  it('grows by 1.8633 mm a year from 8 to 9.5 years, SD 1.0951, from 0.4667 to 4.6667', () => {
    const yearly = study.map((history) => {
      const values = agedValues(history, MEASURE);
      return ((values[3]?.value ?? NaN) - (values[0]?.value ?? NaN)) / 1.5;
    });
    expectWithin(mean(yearly), 1.8633, printed(4));
    expectWithin(Math.sqrt(sampleVariance(yearly)), 1.0951, printed(4));
    expectWithin(Math.min(...yearly), 0.4667, printed(4));
    expectWithin(Math.max(...yearly), 4.6667, printed(4));
    expectClose(Math.sqrt(sampleVariance(yearly)), ramus.annualised.sd, CLOSED_FORM, 'SD against R');
  });

  it("carries the growth reference that R's mixed model gives, for boys only", () => {
    const reference = referenceOf(study, MEASURE);
    expectReferenceOfR(reference, chosenFit('ramus'));
    expect(combinationRow(reference, 'female', [{ age: 9, weight: 1 }]).every((value) => value === 0)).toBe(
      true,
    );
    expectWithin(
      expectedSize(reference, 'male', 9.5) - expectedSize(reference, 'male', 8.5),
      1.866,
      printed(3),
    );
  });
});

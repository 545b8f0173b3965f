import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { findMeasure } from '../measures';
import { createRandom, mean } from '../numeric';
import { errorDraws, errorVariances } from './error-draws';
import { methodErrorInForce, type MethodErrorInForce } from './method-error';

const measure = findMeasure('Co-Gn');
if (measure === undefined) throw new Error('Co-Gn is not in the catalogue');
const error = methodErrorInForce(generateDemo({ seed: 7, patients: 120 }).study, measure);

function drawn(of: MethodErrorInForce) {
  const draw = errorDraws(of);
  const random = createRandom(2);
  return Array.from({ length: 20_000 }, () => draw?.(random) ?? { film: NaN, retracing: NaN });
}

describe('drawn method errors', () => {
  it('are the estimate times its degrees of freedom over a chi-squared variate of as many', () => {
    const df = error.duplicates?.pairs ?? NaN;
    const draws = drawn(error);
    // Mean of 1/sigma^2 is 1/s^2; its relative variance 2/df (facts of the chi-squared distribution).
    const inverse = draws.map(({ retracing }) => errorVariances(error).retracing / retracing);
    expect(mean(inverse)).toBeCloseTo(1, 2);
    const spread = mean(inverse.map((one) => (one - 1) ** 2));
    expect((spread * df) / 2).toBeCloseTo(1, 1);
  });

  it('give films what the whole leaves after retracing, never less than nothing', () => {
    expect(error.films.source).toBe('second-films');
    const draws = drawn(error);
    expect(draws.every(({ film }) => film >= 0)).toBe(true);
    expect(draws.some(({ film }) => film > errorVariances(error).film)).toBe(true);
  });

  it('are not known of published defaults', () => {
    expect(errorDraws({ ...error, degreesOfFreedom: { retracing: null, whole: null } })).toBeNull();
  });
});

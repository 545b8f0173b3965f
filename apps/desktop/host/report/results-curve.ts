import type { AnswerRows } from '@longhold/core/answers';
import { sexSchema } from '@longhold/core/records';
import { z } from 'zod';
import type { Results } from './results-schema';

/** The growth curve in results.json. Every field says what it is. */
export const curveSchema = z.union([
  z.strictObject({
    kind: z.literal('spline').describe('a fitted spline'),
    knots: z.array(z.number()).describe('knots, years; docs/methods.md has the columns of the basis'),
    offset: z.number().describe('added to every expected size'),
    sexes: z.array(sexSchema).describe('sexes, in the order of their coefficients'),
    coefficients: z.array(z.number()).describe('of each sex in turn: level, then one for each column'),
    covariance: z.array(z.array(z.number())).describe('covariance of the coefficients, row by row'),
  }),
  z.strictObject({
    kind: z.literal('table').describe('means at ages, joined by straight lines'),
    sex: z.array(sexSchema).describe('sex of each mean'),
    age: z.array(z.number()).describe('age of each mean, years'),
    mean: z.array(z.number()).describe('the mean, natural size'),
    variance: z.array(z.number()).nullable().describe('its variance; null where not known'),
  }),
]);

/** The growth curve of an answer in the form of results.json. */
export function curveOf(curve: AnswerRows['curve']): Results['definitions']['reference']['curve'] {
  if (curve === null) return null;
  const { kind } = curve;
  if (kind === 'table') {
    const { sex, age, mean, variance } = curve;
    return {
      kind,
      sex: [...sex],
      age: [...age],
      mean: [...mean],
      variance: variance === null ? null : [...variance],
    };
  }
  const { knots, offset, sexes, coefficients, covariance } = curve;
  return {
    kind,
    knots: [...knots],
    offset,
    sexes: [...sexes],
    coefficients: [...coefficients],
    covariance: covariance.map((row) => [...row]),
  };
}

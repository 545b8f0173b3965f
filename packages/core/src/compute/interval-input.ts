import { z } from 'zod';

/** Keys that methods with intervals and draws share. */
export const level = z
  .number()
  .gt(0)
  .lt(1)
  .default(0.95)
  .describe('Confidence level of all intervals, 0.95 for 95 %');

export const seed = z.int().default(1).describe('Seed of the draws; equal seeds give equal limits');

export const replicates = z
  .int()
  .min(100)
  .max(100_000)
  .default(1999)
  .describe('Samples drawn with replacement');

export const label = z.union([z.string(), z.number()]);

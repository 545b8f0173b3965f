import { z } from 'zod';
import { label } from './interval-input';

/** Keys that several methods of agreement share. */
export const share = z
  .number()
  .gt(0)
  .lt(1)
  .default(0.95)
  .describe('Share of differences that lies between the limits of agreement');

const reading = z.number().describe('A reading, in the unit of the measure');

export const first = z.array(reading).describe('First reading of each pair, or the first method');
export const second = z.array(reading).describe('Second reading of each pair, or the second method');

export const subject = z.array(label).describe('Whose each row is; equal labels are the same subject');

/** Bland and Altman 1986, first readings of 17 subjects; from memory, as they are widely reprinted. */
export const PEAK_FLOW = {
  about:
    'Peak flow in l/min of 17 subjects: first readings by a mini and by a large meter (Bland and Altman 1986, from memory).',
  mini: [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
  large: [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
};

import { expect, it } from 'vitest';
import { countWithoutGain, withoutGain } from './without-gain';

const LEFT_OUT = [
  { reason: 'no-start-value', codes: ['A', 'E'] },
  { reason: 'gain-not-measurable', codes: ['B'] },
  { reason: 'gain-below-floor', codes: ['C'] },
  { reason: 'no-follow-up', codes: ['D'] },
] as const;

it('a patient whose own gain is too small to be measured still counts in the mean of the group', () => {
  expect(withoutGain(LEFT_OUT).flatMap(({ codes }) => codes)).toEqual(['A', 'E', 'D']);
});

it('a patient who was not followed has a gain of treatment all the same', () => {
  expect(countWithoutGain(LEFT_OUT)).toBe(2);
});

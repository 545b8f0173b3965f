import { expect, it } from 'vitest';
import { withoutGain } from './without-gain';

it('a patient whose own gain is too small to be measured still counts in the mean of the group', () => {
  const left = withoutGain([
    { reason: 'no-start-value', codes: ['A'] },
    { reason: 'gain-not-measurable', codes: ['B'] },
    { reason: 'gain-below-floor', codes: ['C'] },
    { reason: 'no-follow-up', codes: ['D'] },
  ]);
  expect(left.flatMap(({ codes }) => codes)).toEqual(['A', 'D']);
});

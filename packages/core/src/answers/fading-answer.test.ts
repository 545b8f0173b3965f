import { describe, expect, it } from 'vitest';
import { generateDemo } from '@longhold/demo';
import { isRefusal } from '../numeric';
import { answerOutcome } from './answer-outcome';
import type { FadingAnswer } from './separation-answer';
import { separationSentence } from './separation-words';

const demo = generateDemo({ seed: 11, patients: 120 });

function overjet(asOf: string) {
  const answer = answerOutcome(demo.study, { measure: 'overjet', asOf, resamples: 50 });
  const { fadingPart } = answer.separation;
  if (isRefusal(fadingPart)) throw new Error(fadingPart.message);
  return { answer, fading: fadingPart };
}

function widths({ course }: FadingAnswer): number[] {
  return course.map(({ limits }) => limits.upper - limits.lower);
}

describe('a measure that does not grow, followed for long', () => {
  const { answer, fading } = overjet(demo.today);

  it('has limits of both parts, and splits the course', () => {
    expect(fading.tauBounded).toBe(true);
    expect(fading.lasting.limits).not.toBeNull();
    expect(fading.course.every(({ lasting, passing }) => lasting !== null && passing !== null)).toBe(true);
    expect(separationSentence(answer)).toContain('fading: ');
  });
});

describe('a measure that does not grow, followed for two or three years', () => {
  const { answer, fading } = overjet('2022-06-30');

  it('has no limits of either part, no split and no share, and says why', () => {
    expect(fading.tauBounded).toBe(false);
    expect([fading.lasting.limits, fading.passing.limits]).toEqual([null, null]);
    expect(fading.share.interval.kind).toBe('whole-line');
    expect(fading.course.every(({ lasting, passing }) => lasting === null && passing === null)).toBe(true);
    expect(answer.separation.diagnosis).toBe('cannot-tell');
    expect(answer.separation.influence).toBeNull();
    expect(separationSentence(answer)).toContain('How fast it fades is not fixed by the data');
  });

  it('still knows the mean gain while patients are followed, with its limits', () => {
    expect(widths(fading).every((width) => width > 0 && width < 3)).toBe(true);
    expect(separationSentence(answer)).toMatch(/years after the end of treatment the modelled mean gain is/);
  });
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { answerOutcome } from './answer-outcome';
import { methodsText } from './methods-paragraph';
import type { OutcomeQuestionInput } from './question';

const demo = generateDemo({ seed: 7, patients: 60 });
const textOf = (question: OutcomeQuestionInput): string =>
  methodsText(
    answerOutcome(demo.study, { asOf: demo.today, resamples: 50, ...question }),
    '1.2.3',
  ).sentences.join(' ');

describe('the methods paragraph', () => {
  it.each([
    ['the rule', { rule: 'any-visit' }, 'first visit below the threshold.'],
    ['the threshold', { threshold: { kind: 'floor', amount: 2 } }, 'at least 2.0 mm of gain'],
    [
      'the filter',
      { filter: { sex: 'female', maturity: 'before-peak' } },
      'female, maturity before peak at the start',
    ],
    ['the growth clock', { growthClock: 'maturity' }, 'cervical vertebral maturation'],
    ['the reference', { reference: 'built-in-table' }, 'taken from a table'],
    ['a changed method error', { errorFactor: 1.5 }, 'multiplied by 1.5'],
    ['the grouping', { groupBy: 'sex' }, 'Groups by sex were compared'],
    ['the level', { level: 0.9 }, 'All intervals are at 90'],
    ['the seed', { seed: 77 }, '(seed 77)'],
  ] satisfies [string, OutcomeQuestionInput, string][])(
    'says %s, and only where it was so',
    (_, question, words) => {
      expect(textOf(question)).toContain(words);
      expect(textOf({})).not.toContain(words);
    },
  );

  it('claims no adjustment for growth of a measure that does not grow', () => {
    const text = textOf({ measure: 'overjet', growthClock: 'maturity' });
    expect(text).not.toContain('under every growth reference');
    expect(textOf({})).toContain('under every growth reference');
    expect(text).toContain('without adjustment for growth');
    expect(text).not.toContain('growth curve');
  });

  it('cites every work that it names, in order of first mention, and no other', () => {
    const { sentences, references } = methodsText(
      answerOutcome(demo.study, { asOf: demo.today, resamples: 50 }),
      '1',
    );
    const text = sentences.join(' ');
    expect(references[0]).toContain('Laird');
    expect(references.some((work) => work.startsWith('Turnbull'))).toBe(true);
    expect(references.some((work) => work.startsWith('Baccetti'))).toBe(text.includes('Baccetti'));
  });

  it('says of an empty study only what is so', () => {
    const text = methodsText(answerOutcome([], {}), '1').sentences.join(' ');
    expect(text).toContain('0 treated patients');
    expect(text).not.toMatch(/NaN|undefined|Turnbull|stayed away/);
  });
});

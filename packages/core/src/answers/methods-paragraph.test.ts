import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { refuse } from '../numeric';
import type { OutcomeAnswer } from './answer';
import { answerOutcome, answerPrepared } from './answer-outcome';
import { methodsText } from './methods-paragraph';
import { measureText } from './number-text';
import { prepareQuestion } from './prepared-question';
import type { OutcomeQuestionInput } from './question';
import { sensitivity } from './sensitivity';

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
    const none = prepareQuestion([], {});
    const text = methodsText(answerPrepared(none), '1', sensitivity(none)).sentences.join(' ');
    expect(text).toContain('0 treated patients');
    expect(text).toContain('neither a mean gain nor a retained share');
    expect(text).not.toMatch(
      /NaN|undefined|Turnbull|stayed away|Fieller|resamples|again|intervals|seed|consent|carried|placed|split/,
    );
  });

  const few = demo.study.filter(({ patient }) => patient.group === 'treated').slice(0, 1);
  const withoutFollowUp = demo.study.map((history) => ({
    ...history,
    visits:
      history.patient.group === 'treated'
        ? history.visits.filter(({ kind }) => kind !== 'follow_up')
        : history.visits,
  }));
  it.each([
    ['one patient', few, 'Fewer than two patients had a gain'],
    ['patients without any follow-up', withoutFollowUp, 'no retained share was estimated'],
  ])('claims of %s no share and no comparison', (_, study, words) => {
    const asked = prepareQuestion(study, { asOf: demo.today, resamples: 50 });
    const text = methodsText(answerPrepared(asked), '1', sensitivity(asked)).sentences.join(' ');
    expect(text).toContain(words);
    expect(text).not.toMatch(/NaN|undefined|Fieller|Efron|Aalen|compared by a log-rank/);
  });

  const whole = answerOutcome(demo.study, { asOf: demo.today, resamples: 50, groupBy: 'sex' });
  const noFit = refuse('none', 'Not to be fitted.');
  const { groups } = whole;
  const oneTest = groups?.tests.map((test) =>
    test.grouping === groups.grouping ? test : { ...test, test: null, adjustedP: null },
  );
  const noSplit = whole.gaveWay.overjet.map((split) => ({ ...split, whole: null }));
  const cases: readonly (readonly [string, Partial<OutcomeAnswer>, RegExp])[] = [
    ['a gain of the group', { gain: null }, /Fieller|Efron|was carried into/],
    ['retained shares', { retained: [] }, /Fieller|Efron/],
    [
      'limits by resampling',
      { retained: whole.retained.map((year) => ({ ...year, bootstrap: null })) },
      /Efron/,
    ],
    ['a curve', { survival: null, groups: null, competing: null }, /Turnbull|Kaplan|Sun 1996|Aalen/],
    ['incidences', { competing: null }, /Aalen/],
    ['groups', { groups: null }, /Sun 1996|Cox|Holm/],
    ['a regression', { groups: groups && { ...groups, regressions: [noFit] } }, /Weibull|log-logistic/],
    ["Cox's ratios", { groups: groups && { ...groups, cox: noFit } }, /Cox 1972/],
    ['several tests', { groups: groups && { ...groups, tests: oneTest ?? [] } }, /Holm/],
    [
      'the growth clock',
      { separation: { ...whole.separation, growthClock: noFit } },
      /Satterthwaite|comparison/,
    ],
    ['the fading part', { separation: { ...whole.separation, fadingPart: noFit } }, /that fades/],
    [
      'splits of overjet and molar relation',
      { gaveWay: { ...whole.gaveWay, overjet: noSplit, molar: noSplit } },
      /overjet|Pancherz/,
    ],
    ['a split of the chin', { gaveWay: { ...whole.gaveWay, chin: noSplit } }, /chin position/],
    ['bounds', { absence: { ...whole.absence, bounds: [] } }, /Manski/],
    ['a comparison of the unseen', { absence: { ...whole.absence, baseline: [] } }, /Newcombe/],
  ];
  it.each(cases)('without %s does not claim what that needs', (_, part, words) => {
    expect(methodsText(whole, '1').sentences.join(' ')).toMatch(words);
    expect(methodsText({ ...whole, ...part }, '1').sentences.join(' ')).not.toMatch(words);
  });

  it('names the references and choices under which the question was asked again, and no others', () => {
    const asked = prepareQuestion(demo.study, { asOf: demo.today, resamples: 50 }, demo.tables);
    const found = sensitivity(asked);
    const say = (sensitive: typeof found | null): string =>
      methodsText(whole, '1', sensitive).sentences.join(' ');
    for (const { label, inForce } of found.references.rows.filter(({ results }) => results !== null))
      if (!inForce) expect(say(found)).toContain(label);
    expect(say(found)).toContain('loss rule, method error, threshold, protocol, what became of those');
    const onlyRules = found.rows.filter(({ aspect }) => aspect === 'rule');
    expect(say({ ...found, rows: onlyRules })).toContain('one choice changed at a time: loss rule.');
    expect(say({ ...found, references: { needed: false, rows: [] } })).not.toContain('references');
    expect(say(null)).not.toContain('again under');
  });

  it('says where gains were divided', () => {
    const asked = answerOutcome(demo.study, { asOf: demo.today, resamples: 50, groupBy: 'gain' });
    const at = measureText(asked.groups?.dividingGain ?? NaN, 'mm', 2);
    expect(methodsText(asked, '1').sentences.join(' ')).toContain(`divided at their median of ${at}`);
  });
});

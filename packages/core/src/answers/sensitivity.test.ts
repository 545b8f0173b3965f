import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { survivalAt, turnbull } from '../survival';
import { answerOutcome, AnswerStopped } from './answer-outcome';
import { prepareQuestion } from './prepared-question';
import type { OutcomeQuestionInput } from './question';
import { sensitivity } from './sensitivity';
import type { SensitivityRow } from './sensitivity-answer';

const demo = generateDemo({ seed: 11, patients: 120 });
const ask = { asOf: demo.today, resamples: 50 } as const;
const prepared = prepareQuestion(demo.study, ask, demo.tables);
const found = sensitivity(prepared);
const asked = answerOutcome(demo.study, ask, {}, demo.tables);

function rowOf(choice: string): SensitivityRow | undefined {
  return found.rows.find((row) => row.choice === choice);
}

describe('an answer given again with one thing changed', () => {
  const changes: readonly (readonly [string, OutcomeQuestionInput])[] = [
    ['Below at any visit', { rule: 'any-visit' }],
    ['Below, beyond error', { rule: 'beyond-error' }],
    ['Half the method error', { errorFactor: 0.5 }],
    ['One and a half times the method error', { errorFactor: 1.5 }],
    ['at least 50\u00a0% of the gain', { threshold: { kind: 'share', share: 0.5 } }],
    ['at least 90\u00a0% of the gain', { threshold: { kind: 'share', share: 0.9 } }],
  ];
  it.each(changes)('is, for "%s", the answer to the question asked so', (choice, change) => {
    const row = rowOf(choice);
    const question = { ...ask, ...change };
    const answer = answerOutcome(demo.study, question, {}, demo.tables);
    const atYears = answer.survival?.byRule.find(({ rule }) => rule === answer.question.rule)?.atYears ?? [];
    expect(row?.atYears).toEqual(atYears.filter(({ year }) => year <= 5));
    const year = answer.retained.find((one) => one.year === found.retainedYear);
    expect(row?.retained).toEqual({ n: year?.n, ...year?.share });
    expect(row?.inForce).toBe(false);
  });

  it('is, for one protocol, the answer of its patients alone', () => {
    const protocol = asked.patients.find((one) => one.protocol !== null)?.protocol ?? '';
    const filter = { protocol, sex: null, expansion: null, maturity: null };
    const answer = answerOutcome(demo.study, { ...ask, filter }, {}, demo.tables);
    expect(rowOf(`only ${protocol}`)?.patients).toBe(answer.gain?.n);
    const year = answer.retained.find((one) => one.year === found.retainedYear);
    expect(rowOf(`only ${protocol}`)?.retained?.estimate).toBe(year?.share?.estimate);
  });

  it('holds the bounds of those who stayed away', () => {
    const bound = asked.absence.bounds.find(({ years }) => years === found.survivalYear);
    const worst = rowOf('All who stayed away lost it after their last visit')?.survival;
    const best = rowOf('All who stayed away still have it')?.survival;
    expect(worst?.estimate).toBeCloseTo(bound?.worst ?? NaN, 12);
    expect(best?.estimate).toBeCloseTo(bound?.best ?? NaN, 12);
    expect(worst?.limits).toBeNull();
    expect(worst?.estimate ?? NaN).toBeLessThan(best?.estimate ?? NaN);
  });

  it('finds the patients without whom survival would be lowest and highest', () => {
    const year = found.survivalYear ?? NaN;
    const times = asked.patients.flatMap(({ code, loss }) => (loss === null ? [] : [{ code, loss }]));
    const without = times.map(({ code }) => ({
      code,
      value: survivalAt(turnbull(times.filter((one) => one.code !== code).map(({ loss }) => loss)), year)
        .survival,
    }));
    const values = without.map(({ value }) => value);
    expect(found.survivalWithoutOne?.lowest.value).toBeCloseTo(Math.min(...values), 9);
    expect(found.survivalWithoutOne?.highest.value).toBeCloseTo(Math.max(...values), 9);
    const named = without.find(({ code }) => code === found.survivalWithoutOne?.lowest.code);
    expect(named?.value).toBeCloseTo(Math.min(...values), 9);
  });

  it('stops when it is told to, and tells how far it is without going back', () => {
    let calls = 0;
    expect(() => sensitivity(prepared, { shouldStop: () => ++calls > 4 })).toThrow(AnswerStopped);
    const told: number[] = [];
    sensitivity(prepared, { progress: (fraction) => told.push(fraction) });
    expect(told.every((fraction, i) => fraction >= (told[i - 1] ?? 0) && fraction <= 1)).toBe(true);
    expect(told.length).toBeGreaterThan(10);
  });
});

import { describe, expect, it } from 'vitest';
import { INTERVAL_CENSORED_METHODS } from './interval-censored-methods';
import { RADIOTHERAPY } from './interval-censored-times';

function method(name: string): (typeof INTERVAL_CENSORED_METHODS)[number] {
  const found = INTERVAL_CENSORED_METHODS.find((one) => one.name === name);
  if (found === undefined) throw new Error(`no method ${name}`);
  return found;
}

describe('the interval-censored methods of the door', () => {
  it.each(INTERVAL_CENSORED_METHODS.map((one) => [one.name, one] as const))(
    '%s answers its example with exactly the keys it describes',
    (_, one) => {
      const result = one.call(one.example.input);
      const answer = 'answer' in result ? result.answer : result.fault.message;
      expect(Object.keys(Object(answer)).sort()).toEqual(Object.keys(one.answer).sort());
    },
  );

  it('reads the printed curve of the radiotherapy arm (Finkelstein and Wolfe 1985)', () => {
    const { left, right } = RADIOTHERAPY;
    const result = method('turnbull').call({ left, right, at: [8, 34], resamples: 50 });
    expect(result).toMatchObject({
      answer: {
        observations: 46,
        converged: true,
        values: [{ survival: expect.closeTo(0.832, 3) }, { survival: expect.closeTo(0.586, 3) }],
        quantiles: [{ probability: 0.5, after: 38, by: 40 }],
      },
    });
  });

  it.each([
    ['turnbull', { left: [3], right: [2] }, 'not-an-interval'],
    ['turnbull', { left: [], right: [] }, 'no-data'],
    ['turnbull', { left: [1, 2], right: [3] }, 'wrong-length'],
    ['turnbull', { left: [-1], right: [2] }, 'wrong-value'],
    ['turnbull', { left: [1], right: [2], count: [0.5] }, 'not-whole'],
    ['interval-censored-log-rank', { left: [1, 2], right: [2, 3], group: ['a', 'a'] }, 'one-group'],
    ['interval-censored-log-rank', { left: [1, 1], right: [2, 2], group: ['a', 'b'] }, 'no-information'],
    ['accelerated-failure-time', { left: [1, 2], right: [null, null], distribution: 'weibull' }, 'no-events'],
    ['accelerated-failure-time', { left: [0], right: [0], distribution: 'weibull' }, 'zero-time'],
    ['accelerated-failure-time', { left: [2], right: [2], distribution: 'log-normal' }, 'scale-zero'],
  ])('%s refuses %o as %s', (name, input, code) => {
    const result = method(name).call(input);
    expect('fault' in result ? result.fault.refused : result.answer).toBe(code);
  });
});

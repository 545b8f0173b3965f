import { describe, expect, it } from 'vitest';
import { TREATED_TEETH } from './competing-events-input';
import { COMPETING_EVENTS_METHODS } from './competing-events-methods';

function call(name: string, input: unknown): unknown {
  return COMPETING_EVENTS_METHODS.find((method) => method.name === name)?.call(input);
}

const { time, cause, group } = TREATED_TEETH;

describe('competing events through the door', () => {
  it('answers with causes by label, in rising order, for each group', () => {
    expect(call('cumulative-incidence', { time, cause, group, at: [1, 99] })).toMatchObject({
      answer: {
        curves: [
          {
            group: 'with retainer',
            observations: 10,
            steps: { causes: [{ cause: 'lost', observedEvents: 3 }, { cause: 'treated again' }] },
            at: [
              {
                atRisk: 9,
                eventFree: { probability: 0.9 },
                causes: [{ cause: 'lost', probability: expect.closeTo(0.1, 12) as number }, {}],
              },
              { atRisk: 0, eventFree: { probability: null }, causes: [{ probability: null }, {}] },
            ],
          },
          { group: 'without' },
        ],
        level: 0.95,
        scale: 'log-log',
        variance: 'greenwood',
      },
    });
  });

  it('keeps the order of causes that are named, also of one that never struck', () => {
    const causes = ['treated again', 'moved away', 'lost'];
    expect(call('cumulative-incidence', { time, cause, causes })).toMatchObject({
      answer: {
        curves: [
          {
            group: null,
            steps: {
              causes: [
                { cause: 'treated again' },
                { cause: 'moved away', observedEvents: 0 },
                { cause: 'lost' },
              ],
            },
          },
        ],
      },
    });
    expect(call('gray-test', { time, cause, group, causes })).toMatchObject({
      answer: {
        tests: [
          { test: { degreesOfFreedom: 1 }, reason: null },
          { cause: 'moved away', test: null, reason: 'No row has an event of this cause.' },
          { test: { groups: [{ group: 'with retainer', observations: 10, events: 3 }, {}] } },
        ],
      },
    });
  });

  it('takes 0 and null alike for "no event"', () => {
    const zeros = cause.map((label) => label ?? 0);
    for (const name of ['cumulative-incidence', 'gray-test']) {
      expect(call(name, { time, cause: zeros, group })).toEqual(call(name, { time, cause, group }));
    }
  });

  it('gives curves where nothing happened, and refuses to compare there', () => {
    const nothing = { time: [1, 2], cause: [null, 0], group: [1, 2] };
    expect(call('cumulative-incidence', nothing)).toMatchObject({
      answer: { curves: [{ steps: { causes: [], eventFree: { survival: [1] } } }, {}] },
    });
    expect(call('gray-test', nothing)).toMatchObject({ fault: { refused: 'no-events' } });
  });

  it.each([
    ['the text 0', { time: [1], cause: ['0'] }, 'wrong-value', 'cause[0] is the text "0"'],
    ['a cause not named', { time: [1], cause: ['a'], causes: ['b'] }, 'unknown-cause', 'one of: b'],
    ['a cause named twice', { time: [1], cause: ['b'], causes: ['b', 'b'] }, 'wrong-value', 'named once'],
    ['0 named as a cause', { time: [1], cause: [1], causes: [1, 0] }, 'wrong-value', '0 means'],
    ['a column too short', { time: [1, 2], cause: ['a'] }, 'wrong-length', 'cause has 1 entries'],
    [
      'a fault in one group, which is named',
      { time: [1, -2], cause: [1, 1], group: ['a', 'b'] },
      'wrong-value',
      'b: time[0] is -2',
    ],
  ])('refuses %s', (_, input, refused, message) => {
    expect(call('cumulative-incidence', input)).toMatchObject({
      fault: { refused, message: expect.stringContaining(message) as string },
    });
  });
});

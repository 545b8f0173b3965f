import { describe, expect, it } from 'vitest';
import { falseLossProbability } from './false-losses';
import { lossInterval, numberAtRisk, type LossRule } from './loss-interval';
import { createRandom } from '../numeric';

const ONE_SIDED_95 = 1.6448536269514722;
const visits = (...margins: number[]) =>
  margins.map((margin, i) => ({ years: i + 1, margin, measurementSd: 1 }));
const find = (rule: LossRule, ...margins: number[]) => lossInterval(visits(...margins), rule, ONE_SIDED_95);

describe('the time of loss', () => {
  it('lies between the last visit without and the first visit with a loss', () => {
    expect(find('any-visit', 2, 1, -0.1, 3)).toEqual({ left: 2, right: 3 });
  });

  it('starts at the end of active treatment when the first visit already shows the loss', () => {
    expect(find('any-visit', -1)).toEqual({ left: 0, right: 1 });
  });

  it('is right-censored at the last visit when no visit shows a loss', () => {
    expect(find('any-visit', 2, 1)).toEqual({ left: 2, right: null });
  });

  it('needs more than measurement error under the rule beyond-error', () => {
    expect(find('beyond-error', 1, -1.6, -1.7)).toEqual({ left: 2, right: 3 });
    expect(find('beyond-error', 1, -1.6, -1.6)).toEqual({ left: 3, right: null });
  });

  it('needs the next visit to agree under the rule confirmed', () => {
    expect(find('confirmed', 1, -1, 1, -1, -1)).toEqual({ left: 3, right: 4 });
  });

  it('stays open at the visit before when nobody has confirmed the last one yet', () => {
    expect(find('confirmed', 1, 1, -1)).toEqual({ left: 2, right: null });
  });

  it('counts those at risk who are still followed and not yet seen lost', () => {
    const times = [
      { left: 1, right: 2 },
      { left: 3, right: null },
      { left: 0, right: 1 },
    ];
    expect([0, 1, 2, 3, 4].map((year) => numberAtRisk(times, year))).toEqual([3, 3, 2, 1, 0]);
  });
});

describe('false losses', () => {
  it.each<LossRule>(['any-visit', 'beyond-error', 'confirmed'])(
    'are as frequent as in a simulation of error alone under the rule %s',
    (rule) => {
      const course = { trueMargin: 1, sharedSd: 0.8, ownSds: [1, 0.7, 1, 1] };
      const random = createRandom(20);
      const rounds = 100_000;
      let alarms = 0;
      for (let round = 0; round < rounds; round++) {
        const shared = course.sharedSd * random.normal();
        const simulated = course.ownSds.map((own, i) => ({
          years: i + 1,
          margin: course.trueMargin + shared + own * random.normal(),
          measurementSd: Math.hypot(own, course.sharedSd),
        }));
        if (lossInterval(simulated, rule, ONE_SIDED_95).right !== null) alarms++;
      }
      const expected = falseLossProbability(course, rule, ONE_SIDED_95);
      const standardError = Math.sqrt((expected * (1 - expected)) / rounds);
      expect(Math.abs(alarms / rounds - expected)).toBeLessThan(4 * standardError);
    },
  );
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import type { OutcomeAnswer } from './answer';
import { answerOutcome } from './answer-outcome';
import { dividingGainText, groupLabel } from './grouping';
import { participantsOf } from './participants';

const demo = generateDemo({ seed: 11, patients: 60 });
const answer = answerOutcome(demo.study, { asOf: demo.today, resamples: 50, groupBy: 'gain' });
const described = participantsOf(answer);

describe('the description of participants', () => {
  it('counts everybody once under each characteristic', () => {
    expect(described.patients).toBe(answer.patients.length);
    for (const { groups, notRecorded } of described.counts)
      expect(groups.reduce((sum, { patients }) => sum + patients, notRecorded)).toBe(described.patients);
    const girls = answer.patients.filter(({ sex }) => sex === 'female').length;
    const sexes = described.counts.find(({ characteristic }) => characteristic === 'sex');
    expect(sexes?.groups).toEqual([
      { label: 'Boys', patients: answer.patients.length - girls },
      { label: 'Girls', patients: girls },
    ]);
  });

  it('lists maturity in the order of growth', () => {
    const maturity = described.counts.find(({ characteristic }) => characteristic === 'maturity');
    const labels = maturity?.groups.map(({ label }) => label.split(' ')[0]);
    expect(labels).toEqual(['Before', 'Around', 'After'].filter((word) => labels?.includes(word)));
    expect(labels?.length).toBeGreaterThan(1);
  });

  /* R: quantile(c(1, 2, 4, 8.5)) gives 1, 1.75, 3, 5.125, 8.5. */
  it('has the quartiles that R gives, and counts who was not seen again as followed for no time', () => {
    const [one] = answer.rows.followed;
    if (one === undefined) throw new Error('nobody in the answer');
    const followed = [8.5, 1, null, 4, 2].map((ageAtEnd) => ({
      ...one,
      ageAtEnd,
      horizon: 3,
      lastSeen: null,
    }));
    const rows = { ...answer.rows, followed };
    const { quartiles, neverSeen } = participantsOf({ patients: answer.patients.slice(0, 5), rows });
    expect(quartiles.find(({ quantity }) => quantity === 'age-at-end')).toEqual({
      quantity: 'age-at-end',
      patients: 4,
      notKnown: 1,
      median: 3,
      lowerQuartile: 1.75,
      upperQuartile: 5.125,
      smallest: 1,
      largest: 8.5,
    });
    expect(quartiles.find(({ quantity }) => quantity === 'followed')).toMatchObject({
      patients: 5,
      median: 0,
    });
    expect(neverSeen).toBe(5);
  });

  it('divides gains where the groups of the curve are divided', () => {
    expect(described.dividingGain).toBe(answer.groups?.dividingGain);
    const at = described.dividingGain ?? NaN;
    const larger = answer.patients.filter(
      (one) => one.loss !== null && groupLabel(one, 'gain', at) === 'Larger gain',
    );
    const group = answer.groups?.groups.find(({ label }) => label === 'Larger gain');
    expect(group?.patients).toBe(larger.length);
    expect(dividingGainText(2.345, 'mm')).toMatch(/^Gains of 2\.3[45] mm \(the median\) and more/);
  });

  it('says nothing of nobody', () => {
    const none: Pick<OutcomeAnswer, 'patients' | 'rows'> = answerOutcome([], {});
    expect(participantsOf(none)).toMatchObject({
      patients: 0,
      quartiles: [],
      neverSeen: 0,
      dividingGain: null,
    });
  });
});

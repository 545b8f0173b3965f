import { describe, expect, it } from 'vitest';
import { generateDemo } from '@longhold/demo';
import { answerOutcome } from './answer-outcome';
import { absenceSentence } from './survival-words';

const demo = generateDemo({ seed: 11, patients: 120 });
const answer = answerOutcome(demo.study, { asOf: demo.today, resamples: 50 });

describe('those who did not come back', () => {
  const { absence, survival } = answer;

  it('leave survival somewhere between the worst and the best case', () => {
    expect(absence.bounds.length).toBeGreaterThan(10);
    for (const { worst, estimate, best } of absence.bounds) {
      expect(worst).toBeLessThanOrEqual(estimate + 1e-9);
      expect(best).toBeGreaterThanOrEqual(estimate - 1e-9);
    }
  });

  it('are bounded around the very curve that is shown', () => {
    for (const year of [1, 2, 3]) {
      const shown = survival?.turnbull.atYears.find((row) => row.year === year)?.estimate;
      const bounded = absence.bounds.find(({ years }) => years === year)?.estimate;
      expect(bounded).toBeCloseTo(shown ?? NaN, 6);
    }
  });

  it('are counted by when they could have been seen, not by whether their loss is known', () => {
    expect(absence.stayedAway).toBeGreaterThan(0);
    expect(absence.stayedAway + absence.neverSeen).toBeLessThan(absence.patients);
    const early = answerOutcome(demo.study, { asOf: '2019-12-31', resamples: 50 }).absence;
    expect(early.stayedAway).toBeLessThan(absence.stayedAway);
  });

  it('lower survival step by step as more of them are taken to have lost their gain', () => {
    const table = absence.survivalTip?.table ?? [];
    expect(table).toHaveLength(6);
    table
      .slice(1)
      .forEach(({ survival: value }, i) =>
        expect(value).toBeLessThanOrEqual((table[i]?.survival ?? NaN) + 1e-9),
      );
  });

  it('tip the retained share where the unseen would bring the whole group to the threshold', () => {
    const tip = absence.shareTip;
    if (tip === null) throw new Error('no tipping point');
    const [none, , , , , all] = tip.table;
    const [low, high] = [none?.overall ?? NaN, all?.overall ?? NaN];
    const atTip = low + (tip.at ?? NaN) * (high - low);
    if (tip.crossing === 'tips') expect(atTip).toBeCloseTo(tip.limit, 9);
    else expect(tip.crossing === 'always-above' ? low >= tip.limit : high < tip.limit).toBe(true);
    expect(tip.at === null).toBe(tip.crossing !== 'tips');
  });

  it('would have to have this much gain, in mm, to bring the whole group to the threshold', () => {
    const tip = absence.shareTip;
    if (tip === null) throw new Error('no tipping point');
    const { seen, unseen, seenMean, unseenMeanAtLimit, limit, table } = tip;
    // Where the unseen kept nothing the share of all is what the seen have over the gains of all.
    const first = (seen * seenMean) / (table[0]?.overall ?? NaN);
    expect((seen * seenMean + unseen * unseenMeanAtLimit) / first).toBeCloseTo(limit, 9);
  });

  it('say whether a threshold is passed by nobody or by everybody, which no number can', () => {
    const under = (share: number) =>
      answerOutcome(demo.study, { asOf: demo.today, resamples: 50, threshold: { kind: 'share', share } })
        .absence.shareTip;
    expect([under(0.02)?.crossing, under(0.02)?.at]).toEqual(['always-above', null]);
    expect([under(0.99)?.crossing, under(0.99)?.at]).toEqual(['always-below', null]);
    expect(under(0.02)?.unseenMeanAtLimit).toBeLessThan(0);
  });

  it('tip the lower limit earlier than the estimate', () => {
    const { survivalTip, shareTip } = absence;
    for (const row of survivalTip?.table ?? []) expect(row.lower).toBeLessThan(row.survival);
    for (const row of shareTip?.table ?? []) expect(row.lower ?? -Infinity).toBeLessThan(row.overall);
    // Where nobody is taken to have lost it more than those who came, it is the answer's own.
    const own = survival?.turnbull.atYears.find(({ year }) => year === survivalTip?.year);
    expect(survivalTip?.table[0]?.lower).toBeCloseTo(own?.limits?.lower ?? NaN, 6);
    // A limit that lies below the estimate is crossed no later, or lies below from the beginning.
    expect(
      survivalTip?.lowerCrossing === 'always-below' || (survivalTip?.lowerAt ?? 2) < (survivalTip?.at ?? 1),
    ).toBe(true);
  });

  it('leave the share of all as uncertain as a growth table of few children makes it', () => {
    const [table] = demo.tables;
    if (table === undefined) throw new Error('the demo has no table');
    const under = (n: number) => {
      const rows = table.rows.map((row) => ({ ...row, sd: 3, n }));
      const ask = { asOf: demo.today, filmFactor: 1, resamples: 50, reference: 'imported-table' } as const;
      const { absence: found } = answerOutcome(demo.study, { ...ask, measure: table.measure }, {}, [
        { ...table, rows },
      ]);
      return found.shareTip;
    };
    const [few, many] = [under(20), under(1e9)];
    expect(few?.table[2]?.overall).toBe(many?.table[2]?.overall);
    expect(few?.table[2]?.lower ?? NaN).toBeLessThan((many?.table[2]?.lower ?? NaN) - 0.05);
  });

  it('are compared with the seen in what is known of both', () => {
    expect(absence.baseline.map(({ name }) => name)).toContain('Age at the end of treatment');
    for (const { limits, difference } of absence.baseline) {
      expect(limits.lower).toBeLessThanOrEqual(difference);
      expect(limits.upper).toBeGreaterThanOrEqual(difference);
    }
  });
});

describe('who stayed away', () => {
  it('is told by the latest visit of any kind, not by the last visit that could be judged', () => {
    const seenLately = new Set(
      demo.study
        .filter(({ visits }) =>
          visits.some(({ kind, date }) => kind === 'follow_up' && (date ?? '') > '2025-01-01'),
        )
        .map(({ patient }) => patient.code),
    );
    const only = demo.study.filter(
      ({ patient }) => patient.group === 'untreated' || seenLately.has(patient.code),
    );
    expect(answerOutcome(only, { asOf: demo.today, resamples: 50 }).absence.stayedAway).toBe(0);
  });

  it('is never seen only where there was no visit at all', () => {
    const { absence } = answer;
    const without = demo.study.filter(
      ({ patient, visits }) =>
        patient.group === 'treated' && !visits.some(({ kind }) => kind === 'follow_up'),
    );
    expect(absence.neverSeen).toBeLessThanOrEqual(without.length);
  });
});

describe('survival by groups', () => {
  it('tests every grouping and never lets the corrected p value fall below the plain one', () => {
    const tests = answer.groups?.tests ?? [];
    expect(tests.map(({ grouping }) => grouping)).toEqual([
      'protocol',
      'expansion',
      'sex',
      'maturity',
      'gain',
    ]);
    for (const { test, adjustedP, why } of tests) {
      if (test === null) expect(why).not.toBeNull();
      else expect(adjustedP).toBeGreaterThanOrEqual(test.p);
    }
  });

  it('shows a curve for each group and compares with the largest', () => {
    const { groups } = answer;
    const sizes = groups?.groups.map(({ patients }) => patients) ?? [];
    expect(groups?.groups.find(({ label }) => label === groups.reference)?.patients).toBe(Math.max(...sizes));
    for (const regression of groups?.regressions ?? []) {
      if ('refused' in regression) throw new Error(regression.message);
      expect(regression.timeRatios).toHaveLength(sizes.length - 1);
    }
  });

  it('counts a second treatment as another event, so that the three chances sum to one', () => {
    for (const { neither, lost, treatedAgain } of answer.competing?.atYears ?? []) {
      if (neither.probability === null) continue;
      const sum = neither.probability + (lost.probability ?? NaN) + (treatedAgain.probability ?? NaN);
      expect(sum).toBeCloseTo(1, 12);
    }
  });

  it('splits sizes of gain at the median, which it names', () => {
    const byGain = answerOutcome(demo.study, { asOf: demo.today, resamples: 50, groupBy: 'gain' }).groups;
    expect(byGain?.dividingGain).toBeGreaterThan(0);
    const [larger, smaller] = byGain?.groups ?? [];
    expect(Math.abs((larger?.patients ?? 0) - (smaller?.patients ?? 0))).toBeLessThanOrEqual(1);
  });
});

describe('the sentence on those who did not come back', () => {
  it('never says that something holds whatever became of them where the best case says otherwise', () => {
    let open = 0;
    for (const share of [0.5, 0.65, 0.75, 0.85, 0.95]) {
      const asked = answerOutcome(demo.study, {
        asOf: demo.today,
        resamples: 50,
        threshold: { kind: 'share', share },
      });
      const tip = asked.absence.survivalTip;
      const at = asked.absence.bounds.find(({ years }) => years === tip?.year);
      if (tip === null || at === undefined || tip.crossing !== 'always-below') continue;
      const words = absenceSentence(asked);
      expect(words.includes('whatever became of them')).toBe(at.best < tip.limit);
      open++;
    }
    expect(open).toBeGreaterThan(0);
  });
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { isRefusal } from '../numeric';
import { survivalAt, turnbull } from '../survival';
import { answerOutcome, AnswerStopped } from './answer-outcome';
import { prepareQuestion } from './prepared-question';
import type { OutcomeQuestionInput } from './question';
import { sensitivity } from './sensitivity';
import type { SensitivityRow } from './sensitivity-answer';
import type { WithoutPatient } from './separation-answer';

const demo = generateDemo({ seed: 11, patients: 120 });
const ask = { asOf: demo.today, resamples: 50 } as const;
const prepared = prepareQuestion(demo.study, ask, demo.tables);
const found = sensitivity(prepared);
const asked = answerOutcome(demo.study, ask, {}, demo.tables);

function rowOf(choice: string): SensitivityRow | undefined {
  return found.rows.find((row) => row.choice === choice);
}

/** What a question asked directly says of everything that a row of the panel holds. */
function askedDirectly(change: OutcomeQuestionInput, study = demo.study) {
  const answer = answerOutcome(study, { ...ask, ...change }, {}, demo.tables);
  const clock = answer.separation.growthClock;
  const year = answer.retained.find((one) => one.year === found.retainedYear);
  const atYears = answer.survival?.byRule.find(({ rule }) => rule === answer.question.rule)?.atYears ?? [];
  const shown = answer.survival?.turnbull.atYears.find((one) => one.year === found.survivalYear);
  return {
    patients: answer.gain?.n,
    retained: { n: year?.n, ...year?.share },
    survival: shown?.estimate,
    atRisk: shown?.atRisk,
    atYears: atYears.filter((one) => one.year <= 5),
    lasting: isRefusal(clock) ? null : clock.lasting,
    share: isRefusal(clock) ? null : clock.share.estimate,
    shareInterval: isRefusal(clock) ? null : clock.share.interval,
    diagnosis: answer.separation.diagnosis,
    lastingRefused: isRefusal(clock) ? clock.message : null,
  };
}

describe('an answer given again with one thing changed', { timeout: 30_000 }, () => {
  const changes: readonly (readonly [SensitivityRow['aspect'], string, OutcomeQuestionInput])[] = [
    ['reference', 'Untreated series', {}],
    ['reference', 'Imported table Demo table', { reference: 'imported-table' }],
    ['reference', 'Built-in table', { reference: 'built-in-table' }],
    ['clock', 'Growth by age', {}],
    ['clock', 'Growth by stage of maturity', { growthClock: 'maturity' }],
    ['rule', 'Below at any visit', { rule: 'any-visit' }],
    ['rule', 'Below, then confirmed', {}],
    ['rule', 'Below, beyond error', { rule: 'beyond-error' }],
    ['error', 'Half the method error', { errorFactor: 0.5 }],
    ['error', 'The method error in force', {}],
    ['error', 'One and a half times the method error', { errorFactor: 1.5 }],
    ['threshold', 'at least 50\u00a0% of the gain', { threshold: { kind: 'share', share: 0.5 } }],
    ['threshold', 'at least 75\u00a0% of the gain', {}],
    ['threshold', 'at least 90\u00a0% of the gain', { threshold: { kind: 'share', share: 0.9 } }],
  ];
  it.each(changes)(
    'is, for %s "%s", in every number the answer to the question asked so',
    (aspect, choice, change) => {
      const row = found.rows.find((one) => one.aspect === aspect && one.choice === choice);
      const direct = askedDirectly(change);
      expect(row?.atYears).toEqual(direct.atYears);
      expect(row?.atYears.length).toBeGreaterThan(1);
      expect(row?.retained).toEqual(direct.retained);
      expect(row?.patients).toBe(direct.patients);
      expect(row?.survival?.estimate).toBe(direct.survival);
      expect(row?.survival?.atRisk).toBe(direct.atRisk);
      expect(row?.lasting).toEqual(direct.lasting);
      expect(row?.share?.estimate ?? null).toBe(direct.share);
      expect(row?.share?.interval ?? null).toEqual(direct.shareInterval);
      expect(row?.diagnosis).toBe(direct.diagnosis);
      expect(row?.lastingRefused).toBe(direct.lastingRefused);
      expect(row?.inForce).toBe(Object.keys(change).length === 0);
    },
  );

  it('holds no kind of row but these, one protocol alone and those who stayed away', () => {
    const known = new Set(changes.map(([aspect, choice]) => `${aspect} ${choice}`));
    const others = found.rows.filter(({ aspect, choice }) => !known.has(`${aspect} ${choice}`));
    expect(new Set(others.map(({ aspect }) => aspect))).toEqual(new Set(['protocol', 'absence']));
  });

  /*
   * Left out by withdrawn consent, so that the films read twice still tell the method error. The lasting gain is left-one-out
   * at the variances of the whole (one patient hardly moves them), so it is near the answer and not the same.
   */
  describe('with one patient left out', () => {
    const without = (code: string) =>
      askedDirectly(
        {},
        demo.study.map((history) =>
          history.patient.code === code
            ? { ...history, patient: { ...history.patient, consentFollowUp: false } }
            : history,
        ),
      );
    const ends = (of: { readonly lowest: WithoutPatient; readonly highest: WithoutPatient } | null) => {
      if (of === null) throw new Error('nobody left out');
      return [of.lowest, of.highest];
    };

    it('is the share that is asked for without the patient', () => {
      for (const { code, value } of ends(found.withoutOne)) {
        expect(without(code).retained.estimate).toBeCloseTo(value, 12);
      }
    });

    it('is the survival that is asked for without the patient', () => {
      for (const { code, value } of ends(found.survivalWithoutOne)) {
        expect(without(code).survival).toBeCloseTo(value, 8);
      }
    });

    it('is, to a fiftieth of its error, the lasting gain that is asked for without the patient', () => {
      const error = found.rows.find(({ inForce }) => inForce)?.lasting?.standardError ?? NaN;
      for (const { code, value } of ends(found.influence?.lasting ?? null)) {
        expect(Math.abs((without(code).lasting?.estimate ?? NaN) - value)).toBeLessThan(error / 50);
      }
    });

    it('lies between the two that are named, whoever else it is', () => {
      const [lowest, highest] = ends(found.withoutOne);
      for (const { code } of asked.patients.slice(0, 3)) {
        const { estimate } = without(code).retained;
        expect(estimate).toBeGreaterThanOrEqual(lowest?.value ?? NaN);
        expect(estimate).toBeLessThanOrEqual(highest?.value ?? NaN);
      }
    });
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

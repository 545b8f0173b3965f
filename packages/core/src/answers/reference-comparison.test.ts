import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { isRefusal } from '../numeric';
import { answerOutcome } from './answer-outcome';
import { prepareQuestion } from './prepared-question';
import type { OutcomeQuestionInput } from './question';
import type { ReferenceRow } from './reference-comparison-answer';
import { droppedText, referenceSentence } from './reference-words';
import { sensitivity } from './sensitivity';

const demo = generateDemo({ seed: 11, patients: 120 });
const ask = { asOf: demo.today, resamples: 50 } as const;
const prepared = prepareQuestion(demo.study, ask, demo.tables);
const found = sensitivity(prepared);
const { references, retainedYear, survivalYear } = found;

function rowOf(label: string, rows = references.rows): ReferenceRow | undefined {
  return rows.find((row) => row.label === label);
}

/** The study without its untreated children. */
const onlyTreated = demo.study.filter(({ patient }) => patient.group === 'treated');

describe('the comparison of growth references', () => {
  it('holds the untreated series by both clocks, every imported table and the built-in table, the one in force first', () => {
    expect(references.rows.map(({ label, inForce }) => [label, inForce])).toEqual([
      ['Untreated series, by age', true],
      ['Untreated series, by stage of maturity', false],
      ['Imported table Demo table, by age', false],
      ['Built-in table, by age', false],
    ]);
  });

  const asked: readonly (readonly [string, OutcomeQuestionInput])[] = [
    ['Untreated series, by age', {}],
    ['Untreated series, by stage of maturity', { growthClock: 'maturity' }],
    ['Imported table Demo table, by age', { reference: 'imported-table' }],
    ['Built-in table, by age', { reference: 'built-in-table' }],
  ];
  it.each(asked)('gives under %s what the question asked with it gives', (label, change) => {
    const row = rowOf(label);
    const answer = answerOutcome(demo.study, { ...ask, ...change }, {}, demo.tables);
    const clock = answer.separation.growthClock;
    expect(row?.results?.gain).toEqual(answer.gain);
    expect(row?.results?.lastingRefused).toBe(isRefusal(clock) ? clock.message : null);
    expect(row?.results?.lasting).toEqual(isRefusal(clock) ? null : clock.lasting);
    expect(row?.results?.share?.estimate).toBe(isRefusal(clock) ? undefined : clock.share.estimate);
    expect(row?.results?.diagnosis).toBe(answer.separation.diagnosis);
    const year = answer.retained.find((one) => one.year === retainedYear);
    expect(row?.results?.retained).toEqual({ n: year?.n, ...year?.share });
    const atYears = answer.survival?.byRule.find(({ rule }) => rule === 'confirmed')?.atYears ?? [];
    expect(row?.results?.atYears).toEqual(atYears.filter(({ year: at }) => at <= 5));
    // Survival to whole years under the asked rule is shown beside the curve; year 4 is not among the customary ones.
    const shown = answer.survival?.turnbull.atYears.find(({ year: at }) => at === survivalYear);
    expect(row?.results?.survival?.estimate).toBeCloseTo(shown?.estimate ?? NaN, 6);
    expect(row?.results?.survival?.atRisk).toBe(shown?.atRisk);
    expect(row?.results?.followed).toBe(answer.survival?.patients);
  });

  it('names who drops out of the curve under another reference with the reason, and who comes in', () => {
    const own = answerOutcome(demo.study, ask, {}, demo.tables);
    const other = answerOutcome(demo.study, { ...ask, reference: 'built-in-table' }, {}, demo.tables);
    const results = rowOf('Built-in table, by age')?.results;
    const inCurve = (answer: typeof own): string[] =>
      answer.patients.filter(({ leftOut }) => leftOut === null).map(({ code }) => code);
    const before = new Set(inCurve(own));
    const dropped = inCurve(own).filter((code) => !inCurve(other).includes(code));
    expect(dropped.length).toBeGreaterThan(0);
    expect(results?.dropsOut.flatMap(({ codes }) => codes).sort()).toEqual(dropped.sort());
    for (const { reason, codes } of results?.dropsOut ?? []) {
      for (const code of codes) expect(other.patients.find((one) => one.code === code)?.leftOut).toBe(reason);
    }
    expect(results?.comesIn).toEqual(inCurve(other).filter((code) => !before.has(code)));
    // The built-in table ends before most of the patients do.
    expect(results?.notCovered.length).toBe(
      (rowOf('Untreated series, by age')?.results?.retained?.n ?? NaN) - (results?.retained?.n ?? NaN),
    );
    expect(results === undefined || results === null ? null : droppedText(results)).toContain('not covered');
  });

  it('says in a sentence why a reference cannot be used', () => {
    const { rows } = sensitivity(prepareQuestion(onlyTreated, ask)).references;
    expect(rows.map(({ label, inForce }) => [label, inForce])).toEqual([
      ['Built-in table, by age', true],
      ['Untreated series, by age', false],
      ['Built-in table, by stage of maturity', false],
    ]);
    const own = rowOf('Untreated series, by age', rows);
    expect(own?.results).toBeNull();
    expect(own?.why).toMatch(/^No sex has 8 untreated children/);
  });

  it('does not read growth by stages of maturity that nobody has', () => {
    const stageless = demo.study.map((history) => ({
      ...history,
      patient: { ...history.patient, maturityStart: null },
    }));
    const { rows } = sensitivity(prepareQuestion(stageless, ask)).references;
    const row = rowOf('Untreated series, by stage of maturity', rows);
    expect(row?.results).toBeNull();
    expect(row?.why).toMatch(/^Of no patient a stage of maturity is known/);
  });

  it('needs no reference for a measure that does not grow', () => {
    const overjet = prepareQuestion(demo.study, { ...ask, measure: 'overjet' });
    const answer = sensitivity(overjet);
    expect(answer.references).toEqual({ needed: false, rows: [] });
    expect(referenceSentence(answer, overjet.measure)).toContain('hangs on no growth reference');
  });

  it('says of one patient, and of nobody, that there is nothing to set against each other', () => {
    const one = prepareQuestion(onlyTreated.slice(0, 1), ask, demo.tables);
    expect(referenceSentence(sensitivity(one), one.measure)).toMatch(
      /^Too few patients were followed|^Only one growth reference/,
    );
    const nobody = sensitivity(prepareQuestion([], ask, demo.tables));
    expect(nobody.references.rows.every(({ results }) => results === null)).toBe(true);
    expect(nobody.references.rows[0]?.why).toBe('Nobody is asked about.');
  });

  it('tells in one sentence from where to where the results go, and what cannot be used', () => {
    const shares = references.rows.map(({ results }) => results?.retained?.estimate ?? NaN);
    const percent = (share: number): string => `${Math.round(100 * share)}\u00a0%`;
    const sentence = referenceSentence(found, prepared.measure);
    expect(sentence).toContain(
      `the share kept at year ${retainedYear} goes from ${percent(Math.min(...shares))} (`,
    );
    expect(sentence).toContain(` to ${percent(Math.max(...shares))} (`);
    const alone = prepareQuestion(onlyTreated.slice(0, 30), ask);
    expect(referenceSentence(sensitivity(alone), alone.measure)).toContain(
      'Not to be used: untreated series, by age',
    );
  });
});

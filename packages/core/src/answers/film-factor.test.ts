import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import type { Study, Visit } from '../records';
import { answerOutcome } from './answer-outcome';
import { methodsText } from './methods-paragraph';
import { retentionSentence } from './words';

const demo = generateDemo({ seed: 7, patients: 40 });
const ask = { asOf: demo.today, resamples: 50 } as const;
const own = answerOutcome(demo.study, ask);

/** The study with something changed at every visit that passes. */
function changed(
  study: Study,
  passes: (code: string, visit: Visit) => boolean,
  change: (visit: Visit) => Visit,
): Study {
  return study.map((history) => ({
    ...history,
    visits: history.visits.map((visit) => (passes(history.patient.code, visit) ? change(visit) : visit)),
  }));
}

const forget = (visit: Visit): Visit => ({ ...visit, filmFactor: null, filmFactorEvidence: null });
const none = changed(demo.study, () => true, forget);

describe('lengths on films', () => {
  it('give the same answer measured enlarged with their factor as at natural size', () => {
    const enlarged = changed(
      demo.study,
      (_code, { filmFactor }) => filmFactor === 1,
      (visit) => ({
        ...visit,
        filmFactor: 0.88,
        measurements: visit.measurements.map((reading) =>
          reading.unit === 'mm' && !['overjet', 'overbite', 'molar'].includes(reading.measure)
            ? { ...reading, value: reading.value / 0.88 }
            : reading,
        ),
      }),
    );
    const answer = answerOutcome(enlarged, ask);
    expect(answer.gain?.mean).toBeCloseTo(own.gain?.mean ?? NaN, 8);
    expect(answer.methodError.sd).toBeCloseTo(own.methodError.sd, 8);
    expect(answer.retained[0]?.share?.estimate).toBeCloseTo(own.retained[0]?.share?.estimate ?? NaN, 6);
    answer.gaveWay.chin.forEach((split, i) =>
      expect(split.whole?.mean ?? NaN).toBeCloseTo(own.gaveWay.chin[i]?.whole?.mean ?? NaN, 8),
    );
  });

  it('are not used where nobody said how much their films enlarge, and every patient is named', () => {
    const answer = answerOutcome(none, ask);
    expect(answer.gain).toBeNull();
    expect(answer.methodError.source).toBe('default');
    expect(answer.reference.kind).toBe('built-in-table');
    const left = answer.leftOut.find(({ reason }) => reason === 'film-factor-unknown');
    const judged = answer.patients.filter(({ unsized }) => unsized.length > 0).map(({ code }) => code);
    expect(left?.codes).toEqual(judged);
    expect(judged.length).toBeGreaterThan(30);
    for (const { status, unsized } of answer.patients.filter((patient) => patient.unsized.length > 0)) {
      expect(status.verdict === 'treated-again' || status.reason === 'film-factor-unknown').toBe(true);
      expect(unsized[0]?.measured).toBeGreaterThan(60);
    }
    const warnings = answer.warnings.filter(({ code }) => code === 'film-factor-unknown');
    expect(warnings).toHaveLength(1);
    expect(warnings[0]?.detail).toContain('--film-factor');
    expect(warnings[0]?.detail).toContain('film_factor of measurements.csv');
    expect(retentionSentence(answer)).toContain('no factor that makes natural sizes of them');
    for (const year of answer.flow) {
      expect(year.measured).toBe(0);
      expect(year.seenFactorUnknown).toBeLessThanOrEqual(year.seenNotMeasured);
    }
    expect(answer.flow[0]?.seenFactorUnknown).toBeGreaterThan(0);
  });

  it('leave out by that reason a patient without a factor at one visit only, and judge the others', () => {
    const [code] = own.patients.filter(({ loss }) => loss !== null).map((patient) => patient.code);
    const answer = answerOutcome(
      changed(demo.study, (whose, { kind }) => whose === code && kind === 'start', forget),
      ask,
    );
    expect(answer.leftOut.find(({ reason }) => reason === 'film-factor-unknown')?.codes).toEqual([code]);
    expect(answer.gain?.n).toBe((own.gain?.n ?? 0) - 1);
    expect(answer.films).toEqual({ unknown: 1, assumed: 0 });
  });

  it('keep a patient whose last film alone has no factor, and show that visit as not used', () => {
    const patient = own.patients.find(({ visits, loss }) => loss !== null && visits.length > 3);
    const last = patient?.visits.at(-1)?.date;
    const answer = answerOutcome(
      changed(demo.study, (code, { date }) => code === patient?.code && date === last, forget),
      ask,
    );
    const found = answer.patients.find(({ code }) => code === patient?.code);
    expect(found?.leftOut).toBeNull();
    expect(found?.visits).toHaveLength((patient?.visits.length ?? 0) - 1);
    expect(found?.unsized.map(({ date }) => date)).toEqual([last]);
    expect(answer.warnings.find(({ code }) => code === 'film-factor-unknown')?.detail).toContain('1 patient');
  });

  it('take the factor of the question where films carry none, which is said', () => {
    const answer = answerOutcome(none, { ...ask, filmFactor: 1 });
    expect(answer.films.assumed).toBeGreaterThan(40);
    expect(answer.warnings.map(({ code }) => code)).toContain('film-factor-assumed');
    expect(answer.gain).not.toBeNull();
    expect(methodsText(answer, '0').sentences.join(' ')).toContain('it was taken to be 1');
    // One clinic's films really enlarge by 1 / 0.912: under a wrong factor its children look that much too large.
    const size = (code: string): number =>
      answer.patients.find((patient) => patient.code === code)?.visits[0]?.value ?? NaN;
    for (const { code, visits } of own.patients.filter((one) => one.code.startsWith('B'))) {
      const [start] = visits;
      if (start !== undefined) expect(size(code) * 0.912).toBeCloseTo(start.value, 8);
    }
  });

  it('matter to no angle', () => {
    const angles = (study: Study) => answerOutcome(study, { ...ask, measure: 'SNB' });
    const answer = angles(none);
    expect(answer.patients.flatMap(({ unsized }) => unsized)).toEqual([]);
    expect(answer.gain).toEqual(angles(demo.study).gain);
    expect(answer.warnings.map(({ code }) => code)).not.toContain('film-factor-unknown');
  });
});

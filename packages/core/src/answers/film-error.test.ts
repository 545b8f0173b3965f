import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import type { Measurement, Study } from '../records';
import type { OutcomeAnswer } from './answer';
import { answerOutcome } from './answer-outcome';
import { methodsText } from './methods-paragraph';

const demo = generateDemo({ seed: 7, patients: 240 });
const ask = { asOf: demo.today, resamples: 50 } as const;
const own = answerOutcome(demo.study, ask);
const codes = (answer: OutcomeAnswer): string[] => answer.warnings.map(({ code }) => code);

/** The study with the readings of every visit changed. */
function withReadings(change: (readings: readonly Measurement[]) => Measurement[]): Study {
  return demo.study.map((history) => ({
    ...history,
    visits: history.visits.map((visit) => ({ ...visit, measurements: change(visit.measurements) })),
  }));
}

const firstFilms = answerOutcome(
  withReadings((readings) => readings.filter(({ film }) => film === 1)),
  ask,
);

/** A patient whose every value rests on one film read once. */
const patient = own.patients.find(
  ({ gain, visits }) => gain !== null && visits.every(({ readings }) => readings === 1),
);

/** With other readings at that patient's start: what is left there of the error variance of one film read once. */
function errorShareAtStart(change: (reading: Measurement) => Measurement[]): number {
  const study = demo.study.map((history) => ({
    ...history,
    visits: history.visits.map((visit) =>
      history.patient.code === patient?.code && visit.kind === 'start'
        ? { ...visit, measurements: visit.measurements.flatMap((one) => changed(one, change)) }
        : visit,
    ),
  }));
  const { patients, methodError } = answerOutcome(study, ask);
  const gain = patients.find(({ code }) => code === patient?.code)?.gain;
  // The end of treatment has the whole of it; the rest is the start's.
  return ((gain?.measurementSd ?? NaN) / methodError.sd) ** 2 - 1;
}

function changed(one: Measurement, change: (reading: Measurement) => Measurement[]): Measurement[] {
  return one.measure === 'Co-Gn' ? change(one) : [one];
}

describe('an answer with second films', () => {
  it('tells error between films apart, and warns of none left out', () => {
    expect(own.methodError.films.source).toBe('second-films');
    expect(codes(own)).not.toContain('film-error-unknown');
    expect(methodsText(own, '1').sentences.join(' ')).toContain('by nested analysis of variance of');
  });

  it('says how far the planted error between films may lie from what was found', () => {
    const limits = own.methodError.films.own?.betweenFilms?.limits;
    expect(limits?.lower).toBeLessThan(demo.truth.filmErrorSd['Co-Gn']);
    expect(limits?.upper).toBeGreaterThan(demo.truth.filmErrorSd['Co-Gn']);
  });

  it('has a film read three times count for less than three films', () => {
    const again = (one: Measurement, how: 'replicate' | 'film') =>
      [1, 2, 3].map((number) => ({ ...one, [how]: number }));
    const once = errorShareAtStart((one) => [one]);
    const retraced = errorShareAtStart((one) => again(one, 'replicate'));
    const refilmed = errorShareAtStart((one) => again(one, 'film'));
    const { films, sd, retracingSd } = own.methodError;
    expect(once).toBeCloseTo(1, 6);
    expect(refilmed).toBeCloseTo(1 / 3, 6);
    expect(retraced).toBeCloseTo((films.sd ** 2 + retracingSd ** 2 / 3) / sd ** 2, 1);
    expect(retraced).toBeGreaterThan(refilmed);
  });

  it('multiplies both parts when asked how much hangs on the error', () => {
    const doubled = answerOutcome(demo.study, { ...ask, errorFactor: 2 });
    expect(doubled.methodError.sd).toBeCloseTo(2 * own.methodError.sd, 12);
    const gainOf = (answer: OutcomeAnswer) =>
      answer.patients.find(({ code }) => code === patient?.code)?.gain;
    expect(gainOf(doubled)?.measurementSd).toBeCloseTo(2 * (gainOf(own)?.measurementSd ?? NaN), 10);
  });
});

describe('an answer without second films', () => {
  it('says that error between films is left out, and what that does', () => {
    expect(firstFilms.methodError.films.source).toBe('not-known');
    const warning = firstFilms.warnings.find(({ code }) => code === 'film-error-unknown');
    expect(warning?.detail).toContain('counted as their own growth');
    expect(warning?.detail).toContain('Never take a film for this');
    expect(methodsText(firstFilms, '1').sentences.join(' ')).toContain('was not known and was left out');
  });

  it('says nothing of films for what is read at the chair', () => {
    expect(codes(answerOutcome(demo.study, { ...ask, measure: 'overjet' }))).not.toContain(
      'film-error-unknown',
    );
  });
});

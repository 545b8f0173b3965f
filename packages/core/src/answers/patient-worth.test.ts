import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { isRefusal } from '../numeric';
import type { EventKind, IsoDate, PatientHistory } from '../records';
import { answerOutcome } from './answer-outcome';

const demo = generateDemo({ seed: 7, patients: 80 });
const ask = { asOf: demo.today, resamples: 50 } as const;
const answer = answerOutcome(demo.study, ask);
const ranked = answer.worth.patients.map(({ code }) => code);
const [first] = ranked;
const code = first ?? '';

function changed(change: (history: PatientHistory) => PatientHistory): ReturnType<typeof answerOutcome> {
  return answerOutcome(
    demo.study.map((history) => (history.patient.code === code ? change(history) : history)),
    ask,
  );
}

function lastVisit({ visits }: PatientHistory): IsoDate {
  return visits.reduce<IsoDate>(
    (latest, { date }) => (date !== null && date > latest ? date : latest),
    '1900-01-01',
  );
}

describe('the worth of a recall', () => {
  it('is that of everybody asked about, or the reason is given', () => {
    const leftOut = answer.worth.leftOut.flatMap(({ codes }) => codes);
    const treated = demo.study.filter(({ patient }) => patient.group === 'treated');
    expect([...ranked, ...leftOut].sort()).toEqual(treated.map(({ patient }) => patient.code).sort());
    expect(answer.worth.readFrom).toBe('growth-clock');
    expect(answer.worth.why).toBeNull();
  });

  it.each(['declined', 'moved', 'withdrew'] satisfies EventKind[])(
    'is not that of a patient who %s, who is counted by the reason',
    (event) => {
      const found = changed((history) => ({
        ...history,
        events: [...history.events, { date: demo.today, event }],
      }));
      expect(found.worth.patients.map((one) => one.code)).not.toContain(code);
      expect(found.worth.leftOut.find(({ reason }) => reason === event)?.codes).toContain(code);
      // Nobody else is touched.
      expect(found.worth.patients.map((one) => one.code)).toEqual(ranked.slice(1));
    },
  );

  it('is not that of a patient without consent', () => {
    const found = changed((history) => ({
      ...history,
      patient: { ...history.patient, consentFollowUp: false },
    }));
    expect(found.worth.leftOut.find(({ reason }) => reason === 'no-consent')?.codes).toContain(code);
  });

  it('counts again a patient who came after declining', () => {
    const found = changed((history) => {
      const date = history.patient.activeEnd;
      if (date === null || date >= lastVisit(history)) throw new Error('choose a patient who was followed');
      return { ...history, events: [...history.events, { date, event: 'declined' }] };
    });
    expect(found.worth.patients.map((one) => one.code)).toContain(code);
  });

  it('of a measure that does not grow is weighed where the data fix how fast the rest fades, else it says why not', () => {
    const asked = ['overjet', 'molar', 'overbite'].map((measure) =>
      answerOutcome(demo.study, { ...ask, measure }),
    );
    let weighed = 0;
    for (const { separation, worth } of asked) {
      const { fadingPart } = separation;
      if (isRefusal(fadingPart)) throw new Error(fadingPart.message);
      expect(worth.readFrom).toBe('fading-part');
      if (!fadingPart.tauBounded) {
        expect(worth.patients).toEqual([]);
        expect(worth.why).toContain('how fast the passing part fades');
        continue;
      }
      weighed++;
      const { limits } = fadingPart.lasting;
      const [most] = worth.patients;
      // To first order in tau, as here, limits are even; those over all open taus reach further where tau is longer.
      const { estimate } = fadingPart.lasting;
      const nearer = Math.min((limits?.upper ?? NaN) - estimate, estimate - (limits?.lower ?? NaN));
      expect((most?.reachNow ?? NaN) / nearer).toBeGreaterThan(0.8);
      expect((most?.reachNow ?? NaN) / nearer).toBeLessThan(1.8);
    }
    expect(weighed).toBeGreaterThan(0);
  });

  it('starts from the interval of the lasting gain that the pages show, the growth curve’s doubt included', () => {
    const { separation, worth } = answerOutcome(demo.study, ask);
    if (isRefusal(separation.growthClock)) throw new Error(separation.growthClock.message);
    const { estimate, limits } = separation.growthClock.lasting;
    expect(worth.patients[0]?.reachNow).toBeCloseTo((limits?.upper ?? NaN) - estimate, 6);
  });

  it('says why nobody can be weighed in a study of nobody', () => {
    const { worth } = answerOutcome([], {});
    expect(worth.patients).toEqual([]);
    expect(worth.why).toContain('at least 6 are needed');
  });
});

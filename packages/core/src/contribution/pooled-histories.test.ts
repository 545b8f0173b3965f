import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { answerPrepared } from '../answers/answer-outcome';
import type { OutcomeAnswer } from '../answers/answer';
import { prepareQuestion } from '../answers/prepared-question';
import { DAYS_PER_YEAR, type PatientHistory, type Study } from '../records';
import { clinicContribution, type ClinicContribution } from './clinic-contribution';
import { definitionWith, FINEST, pseudonymOf, recordWith } from './contribution.fixture';
import { pooledHistories } from './pooled-histories';
import { definitionQuestion, prepareContributed } from './pooled-question';
import type { PooledRecord } from './pooled-record';

const demo = generateDemo({ seed: 7, patients: 120 });
const definition = definitionWith({ coarsening: FINEST });
const context = { asOf: demo.today, filmFactor: null };
const contribution = clinicContribution(demo.study, definition, pseudonymOf, context);
const codes = new Set(contribution.codes.values());
/** In the order of the records, since resampling goes by the order of patients. */
const contributed = demo.study
  .filter(({ patient }) => codes.has(patient.code))
  .sort((a, b) => (pseudonymOf(a.patient.code) < pseudonymOf(b.patient.code) ? -1 : 1));

function fromRows(study: Study): OutcomeAnswer {
  const question = { ...definitionQuestion(definition, 'Co-Gn'), asOf: demo.today, resamples: 50 };
  return answerPrepared(prepareQuestion(study, question));
}

function fromContribution({ records, sheet }: ClinicContribution): OutcomeAnswer {
  const prepared = prepareContributed(records, sheet.methodErrors, definition, 'Co-Gn');
  return answerPrepared({ ...prepared, question: { ...prepared.question, resamples: 50 } });
}

/** The clinic's histories with ages and names as the contribution has them; everything else as it was. */
function withContributedAges(histories: readonly PatientHistory[]): PatientHistory[] {
  const records = new Map(contribution.records.map((record) => [record.pseudonym, record]));
  return histories.map((history) => {
    const record = records.get(pseudonymOf(history.patient.code)) ?? recordWith();
    const age = (visit: PatientHistory['visits'][number]): number =>
      record.ageMonths / 12 + (visitDay(history, record, visit) ?? NaN) / DAYS_PER_YEAR;
    return {
      ...history,
      patient: { ...history.patient, code: record.pseudonym, birthDate: null },
      visits: history.visits.map((visit) => ({ ...visit, ageYears: age(visit) })),
    };
  });
}

function visitDay(
  { patient, visits }: PatientHistory,
  record: PooledRecord,
  { date }: PatientHistory['visits'][number],
): number | null {
  const dates = visits.flatMap((visit) => visit.date ?? []).sort();
  const zero = record.group === 'treated' ? patient.activeEnd : (dates[0] ?? null);
  return zero === null || date === null ? null : (Date.parse(date) - Date.parse(zero)) / 86_400_000;
}

/** What is comparable between two answers: everything but names, and what speaks of the days since the last visit. */
function numbers(answer: OutcomeAnswer): Record<string, unknown> {
  const { gain, retained, changes, above, survival, groups, competing, separation, statusCounts, flow } =
    answer;
  return { gain, retained, changes, above, survival, groups, competing, separation, statusCounts, flow };
}

function expectClose(one: unknown, other: unknown, path: string): void {
  if (typeof one === 'number' && typeof other === 'number' && Number.isFinite(one)) {
    const scale = Math.max(1, Math.abs(one));
    expect(Math.abs(one - other) / scale, `${path}: ${one} and ${other}`).toBeLessThan(1e-6);
  } else if (Array.isArray(one) && Array.isArray(other)) {
    expect(other.length, path).toBe(one.length);
    one.forEach((item: unknown, i) => expectClose(item, other[i], `${path}[${i}]`));
  } else if (typeof one === 'object' && one !== null && typeof other === 'object' && other !== null) {
    expect(Object.keys(other)).toEqual(Object.keys(one));
    const others = new Map<string, unknown>(Object.entries(other));
    for (const [key, item] of Object.entries(one)) expectClose(item, others.get(key), `${path}.${key}`);
  } else expect(other, path).toEqual(one);
}

// Whole answers are computed there, growth curves and all.
describe('contributed records as histories', { timeout: 30_000 }, () => {
  it("give the very answer of the clinic's own rows once both have the same ages", () => {
    const own = numbers(fromRows(withContributedAges(contributed)));
    expectClose(own, numbers(fromContribution(contribution)), 'answer');
  });

  it('move no age by more than half a month, nor any time at all, and the answer by as little', () => {
    const own = fromRows(contributed);
    const pooled = fromContribution(contribution);
    expect(pooled.methodError.sd).toBe(own.methodError.sd);
    const others = new Map(pooled.patients.map((patient) => [patient.code, patient]));
    let compared = 0;
    for (const patient of own.patients) {
      const other = others.get(pseudonymOf(patient.code));
      expect(other?.sex).toBe(patient.sex);
      patient.visits.forEach((visit, i) => {
        const then = other?.visits[i];
        expect(Math.abs((then?.age ?? NaN) - visit.age)).toBeLessThanOrEqual(0.5 / 12 + 1e-9);
        expect(then?.years).toBeCloseTo(visit.years ?? NaN, 10);
        expect(then?.value).toBeCloseTo(visit.value, 10);
        expect(then?.readings).toBe(visit.readings);
        compared++;
      });
      if (patient.gain === null) continue;
      // Half a month at the planted change of velocity: 1.6 mm/year up or down within some 1.5 years of the peak.
      expect(Math.abs((other?.gain?.estimate ?? NaN) - patient.gain.estimate)).toBeLessThan(0.12);
    }
    expect(compared).toBeGreaterThan(300);
    expect(pooled.gain?.mean).toBeCloseTo(own.gain?.mean ?? NaN, 1);
    expect(pooled.flow).toEqual(own.flow);
  });

  it('carry second treatments, and count a year only once its window has closed', () => {
    const record = recordWith({
      yearsPassed: 1,
      visits: [
        { kind: 'start', day: -300, values: [] },
        { kind: 'follow_up', day: 360, values: [] },
      ],
      events: [{ event: 'treated_again', day: 400 }],
    });
    const answer = answerPrepared(prepareContributed([record], [], definition, 'Co-Gn'));
    expect(answer.flow.map(({ year, eligible, seen }) => [year, eligible, seen])).toEqual([[1, 1, 1]]);
    expect(answer.patients[0]?.treatedAgainAt).toBeCloseTo(400 / DAYS_PER_YEAR, 10);
    const next = answerPrepared(prepareContributed([{ ...record, yearsPassed: 2 }], [], definition, 'Co-Gn'));
    expect(next.flow[1]).toMatchObject({ year: 2, eligible: 1, seen: 0, notSeen: { 'treated-again': 1 } });
  });

  it('stand for a group of maturity by a stage of that group', () => {
    const stages = (['before-peak', 'around-peak', 'after-peak', 'CS4', null] as const).map(
      (maturityStart) => pooledHistories([recordWith({ maturityStart })])[0]?.patient.maturityStart,
    );
    expect(stages).toEqual(['CS1', 'CS3', 'CS5', 'CS4', null]);
  });

  it('read lengths at natural size, whatever the films enlarged', () => {
    const enlarged = demo.study.some(({ visits }) => visits.some(({ filmFactor }) => filmFactor === 0.912));
    expect(enlarged).toBe(true);
    const magnifications = new Set(
      contribution.records.flatMap(({ visits }) =>
        visits.flatMap(({ values }) => values.map((value) => `${value.measure} ${value.magnification}`)),
      ),
    );
    expect([...magnifications].sort()).toEqual([
      'Co-Gn by-factor',
      'Co-Gn natural',
      'SNB not-enlarged',
      'overjet not-enlarged',
    ]);
  });
});

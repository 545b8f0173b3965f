import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal } from '../numeric';
import { findMeasure, type MeasureDefinition } from '../measures';
import {
  addFadingInformation,
  expectedInformation,
  NO_FADING_INFORMATION,
  patientInformation,
  regressorSums,
  visitPatterns,
  withoutTau,
  type FollowUpSchedule,
} from '../separation';
import { askedAbout } from './eligible';
import { gainRows } from './gain-rows';
import { patientContrasts } from './patient-outcome';
import { fadingReach, halfOf } from './planned-reach';
import { planning } from './planning';
import type { PlanningAnswer } from './planning-answer';
import { planningSentence } from './planning-words';
import { prepareQuestion, type PreparedQuestion } from './prepared-question';
import { readFading } from './separate-gain';

const components = { betweenPatients: { lasting: 4, both: -0.1, passing: 0.2 }, residualVariance: 0.5 };
const read = (visits: readonly number[]) => withoutTau(patientInformation(regressorSums(visits), components));
const kinds = [
  { made: [2.8], awaited: [2.3, 1.7, 1.1, 0.6], comes: 1 },
  { made: [3.2], awaited: [3, 2.4, 1.6, null], comes: 1 },
];

/** Which of the awaited visits a patient makes who stays away by chance. */
function attended<Visit>(
  awaited: readonly (Visit | null)[],
  { years, dropOut, missed }: FollowUpSchedule,
  random: ReturnType<typeof createRandom>,
): Visit[] {
  const came: Visit[] = [];
  for (const visit of awaited.slice(0, years)) {
    if (random.uniform() < dropOut) break;
    if (random.uniform() >= missed && visit !== null) came.push(visit);
  }
  return came;
}

describe('the information expected of a patient', () => {
  it('is that of the full schedule where nobody stays away', () => {
    const expected = expectedInformation(visitPatterns(kinds, { years: 3, dropOut: 0, missed: 0 }), read);
    const full = addFadingInformation(read([2.8, 2.3, 1.7, 1.1]), read([3.2, 3, 2.4, 1.6]));
    expect(expected.parts.lasting).toBeCloseTo(full.parts.lasting / 2, 12);
    expect(expected.parts.both).toBeCloseTo(full.parts.both / 2, 12);
  });

  it('is the mean over patients who stay away by chance, drawn by the hundred thousand', () => {
    const schedule = { years: 4, dropOut: 0.12, missed: 0.2 };
    const random = createRandom(9);
    const draws = 100_000;
    let sum = NO_FADING_INFORMATION;
    for (let i = 0; i < draws; i++) {
      const kind = kinds[i % 2];
      if (kind === undefined) throw new Error('two kinds');
      sum = addFadingInformation(
        sum,
        read([...kind.made, ...attended(kind.awaited, schedule, random)]),
        1 / draws,
      );
    }
    const expected = expectedInformation(visitPatterns(kinds, schedule), read);
    expect(Math.abs(sum.parts.lasting / expected.parts.lasting - 1)).toBeLessThan(0.01);
    expect(Math.abs(sum.parts.passing / expected.parts.passing - 1)).toBeLessThan(0.01);
  });
});

function plannedFor(prepared: PreparedQuestion, input: Parameters<typeof planning>[1]): PlanningAnswer {
  const plan = planning(prepared, input);
  if (isRefusal(plan)) throw new Error(plan.message);
  return plan;
}

function measureOf(code: string): MeasureDefinition {
  const measure = findMeasure(code);
  if (measure === undefined) throw new Error(`no measure ${code}`);
  return measure;
}

describe('planning', { timeout: 30_000 }, () => {
  const demo = generateDemo({ seed: 7, patients: 120 });
  const prepared = prepareQuestion(demo.study, { asOf: demo.today });
  const asItIs = plannedFor(prepared, { target: 0.1 });

  it('needs fewer patients the longer they are followed, and more where more stay away', () => {
    const plan = plannedFor(prepared, { target: 0.9 });
    const worse = plannedFor(prepared, { target: 0.9, dropOut: 0.3 });
    const needed = plan.rows.map(({ patients }) => patients ?? Infinity);
    needed.slice(1).forEach((n, i) => expect(n).toBeLessThanOrEqual(needed[i] ?? NaN));
    expect(needed[0]).toBeGreaterThan(needed[5] ?? NaN);
    expect(worse.rows[5]?.patients).toBeGreaterThan(plan.rows[5]?.patients ?? NaN);
  });

  it('says that no number of patients passes below what the growth curve leaves in doubt', () => {
    const plan = plannedFor(prepared, { target: 0.01 });
    expect(plan.floor).toBeGreaterThan(0.01);
    expect(plan.rows.every(({ patients }) => patients === null)).toBe(true);
    expect(planningSentence(plan, measureOf('Co-Gn'))).toContain('More untreated children would.');
  });

  it('is refused where the present study cannot tell the variances', () => {
    const few = prepareQuestion(demo.study.slice(0, 5), { asOf: demo.today, reference: 'built-in-table' });
    expect(isRefusal(planning(few, {}))).toBe(true);
  });

  it('starts from what the present patients tell, and what they would tell if they were followed on', () => {
    const plan = plannedFor(prepared, { target: 0.3, dropOut: 0.1, missed: 0.15 });
    const reached = plan.continued.years.map(({ lasting }) => lasting);
    expect(reached).toHaveLength(5);
    expect(reached[0]).toBeLessThan(plan.present.lasting);
    reached.slice(1).forEach((half, i) => expect(half).toBeLessThanOrEqual(reached[i] ?? NaN));
    const fuller = plannedFor(prepared, { target: 0.3, dropOut: 0, missed: 0 });
    expect(fuller.continued.years[4]?.lasting).toBeLessThan(reached[4] ?? NaN);
    expect(plan.continued.callable).toBeLessThan(plan.present.patients);
  });

  it.each(['declined', 'moved', 'withdrew'] as const)('gains nothing from patients who %s', (event) => {
    const gone = demo.study.map((history) => ({
      ...history,
      events: [...history.events, { date: demo.today, event }],
    }));
    const plan = plannedFor(prepareQuestion(gone, { asOf: demo.today }), { target: 0.1 });
    expect(plan.continued.callable).toBe(0);
    for (const { lasting } of plan.continued.years) expect(lasting).toBeCloseTo(plan.present.lasting, 9);
    expect(planningSentence(plan, measureOf('Co-Gn'))).toContain('None of them can be followed further.');
  });

  it('counts those who stayed away by how often such absences ended in the records, and says so', () => {
    const plan = asItIs;
    const { callable, absent, absentReturn } = plan.continued;
    expect(absent).toBeGreaterThan(0);
    expect(absent).toBeLessThan(callable);
    expect(absentReturn ?? NaN).toBeGreaterThanOrEqual(0);
    expect(absentReturn ?? NaN).toBeLessThan(0.5);
    const words = planningSentence(plan, measureOf('Co-Gn'));
    expect(words).toContain(`the ${callable - absent} seen within a year and a half are counted on, if 85`);
    expect(words).toContain('count by how often absences so long ended within a year in these records');
  });

  it('gains next to nothing from patients who have all been away for years', () => {
    const asOf = `${Number(demo.today.slice(0, 4)) + 3}${demo.today.slice(4)}`;
    const plan = plannedFor(prepareQuestion(demo.study, { asOf }), { target: 0.1 });
    const { callable, absent, years } = plan.continued;
    expect(absent).toBe(callable);
    expect(callable).toBeGreaterThan(0);
    const soon = asItIs.continued.years[4]?.lasting ?? NaN;
    // Nearly all that following the same patients on in time would have gained is not promised any more.
    const gained = (half: number | undefined): number => plan.present.lasting - (half ?? NaN);
    expect(gained(years[4]?.lasting)).toBeLessThan(0.35 * gained(soon));
    expect(planningSentence(plan, measureOf('Co-Gn'))).toMatch(
      /All \d+ who may be called back have not been seen for more than a year and a half/,
    );
  });

  it('says that the absent are not counted on where the records do not tell how many come back', () => {
    const plan = asItIs;
    const words = planningSentence(
      { ...plan, continued: { ...plan.continued, absentReturn: null } },
      measureOf('Co-Gn'),
    );
    expect(words).toContain('are not counted on, since the records hold too few absences so long');
  });

  it('says when the present patients suffice, now or after some years', () => {
    const plan = plannedFor(prepared, {});
    const [first] = plan.continued.years;
    const words = (target: number): string => planningSentence({ ...plan, target }, measureOf('Co-Gn'));
    expect(words(plan.present.lasting + 0.01)).toMatch(/as well as was asked for: they suffice\.$/);
    expect(words((first?.lasting ?? NaN) + 0.001)).toContain('is expected 1 year from now: they suffice.');
    expect(words(0.01)).toContain('they alone do not reach ±0.01');
  });
});

describe('planning for a measure that does not grow', { timeout: 30_000 }, () => {
  const demo = generateDemo({ seed: 7, patients: 120 });
  const overjet = prepareQuestion(demo.study, { asOf: demo.today, measure: 'overjet' });
  const { question, yardstick } = overjet;
  const rows = gainRows(
    askedAbout(overjet.study, question)
      .filter(({ patient }) => patient.consentFollowUp)
      .flatMap((history) => patientContrasts(history, question, yardstick) ?? []),
    yardstick,
  );
  const fading = readFading(rows, question.level);

  it('is by the fading part, with the doubt about tau', () => {
    if (isRefusal(fading)) throw new Error(fading.message);
    const { fit } = fading;
    expect(fit.tauBounded).toBe(true);
    const plan = plannedFor(overjet, { dropOut: 0, missed: 0 });
    expect(plan.readFrom).toBe('fading-part');
    expect(plan.floor).toBe(0);
    const reach = fadingReach(
      fit,
      question.level,
      visitPatterns([{ made: [0], awaited: [1, 2, 3, 4, 5, 6], comes: 1 }], {
        years: 6,
        dropOut: 0,
        missed: 0,
      }),
    );
    const sixYears = plan.rows.find(({ years }) => years === 6);
    expect(sixYears?.lasting).toEqual(plan.numbers.map((n) => reach(n).lasting));
    expect(plan.present.lasting).toBe(halfOf(fit.lasting));
    // One year gives two visits for three parameters.
    expect(plan.rows[0]?.years).toBeGreaterThan(1);
  });

  it('says why not where the data do not tell how fast the passing part fades', () => {
    const short = demo.study.map((history) => ({
      ...history,
      visits: history.visits.filter(
        ({ kind, date }) =>
          kind !== 'follow_up' ||
          date === null ||
          history.patient.activeEnd === null ||
          Number(date.slice(0, 4)) - Number(history.patient.activeEnd.slice(0, 4)) < 2,
      ),
    }));
    const plan = planning(prepareQuestion(short, { asOf: demo.today, measure: 'overjet' }), {});
    if (!isRefusal(plan)) throw new Error('planned although tau is open');
    expect(plan.refused).toBe('tau-not-fixed');
  });
});

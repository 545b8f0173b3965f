import { describe, expect, it } from 'vitest';
import { answerOutcome, type OutcomeAnswer, type PatientOutcome } from '@longhold/core/answers';
import { readImport } from '@longhold/core/intake';
import type { LossRule } from '@longhold/core/survival';
import { expectClose, expectWithin } from './closeness';
import type { NumberOrNull } from './fixture';
import {
  mainJobFiles,
  mainJobFixture,
  type AnswerOfR,
  type Estimate,
  type PatientOfR,
  type RatioSet,
} from './main-job-fixture';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, TURNBULL_MASS, VARIANCE_COMPONENT } from './tolerances';

const RULES = ['any-visit', 'beyond-error', 'confirmed'] as const satisfies readonly LossRule[];

/** Near zero a figure may be off by this many mm (or shares) times the tolerance. */
const SMALLEST = 1;

function studyOfFiles() {
  const reading = readImport(mainJobFiles());
  if (!reading.ok) throw new Error(reading.faults.map(({ message }) => message).join('\n'));
  return reading.study;
}

const study = studyOfFiles();

const answers = new Map<string, OutcomeAnswer>();
function answerOf(measure: string, rule: LossRule = 'confirmed'): OutcomeAnswer {
  const key = `${measure} ${rule}`;
  const known = answers.get(key);
  if (known !== undefined) return known;
  const answer = answerOutcome(study, {
    measure,
    rule,
    threshold: { kind: 'share', share: mainJobFixture.share },
    level: mainJobFixture.level,
    reference: 'untreated-series',
    /* The files say nothing of their films; R takes their lengths as they stand. */
    filmFactor: 1,
    resamples: 50,
  });
  answers.set(key, answer);
  return answer;
}

/** Compares a figure that both give, or that neither does. */
function expectSame(
  actual: number | null | undefined,
  expected: unknown,
  tolerance: number,
  what: string,
): void {
  if (expected === null || expected === undefined) expect(actual ?? null, what).toBeNull();
  else expectClose(actual ?? NaN, Number(expected), tolerance, what, SMALLEST);
}

function expectEstimate(
  actual: { estimate: number; limits: { lower: number; upper: number } } | null,
  expected: Estimate | null,
  tolerance: number,
  what: string,
): void {
  expectSame(actual?.estimate, expected?.estimate, tolerance, what);
  expectSame(actual?.limits.lower, expected?.lower, tolerance, `lower limit of ${what}`);
  expectSame(actual?.limits.upper, expected?.upper, tolerance, `upper limit of ${what}`);
}

type FiellerSet = NonNullable<OutcomeAnswer['retained'][number]['share']>['interval'];

function expectSet(
  actual: FiellerSet | undefined,
  expected: RatioSet | undefined,
  tolerance: number,
  what: string,
): void {
  expect(actual?.kind, `kind of ${what}`).toBe(expected?.kind);
  const ends = actual?.kind === 'bounded' || actual?.kind === 'unbounded' ? actual : null;
  expectSame(ends?.lower, expected?.lower, tolerance, `lower end of ${what}`);
  expectSame(ends?.upper, expected?.upper, tolerance, `upper end of ${what}`);
}

function expectGain(
  actual: PatientOutcome['gain'],
  expected: PatientOfR['gain'],
  within: number,
  what: string,
) {
  expectEstimate(actual, expected, within, `gain of ${what}`);
  expectSame(actual?.measurementSd, expected?.measurementSd, CLOSED_FORM, `measurement SD of ${what}`);
  expectSame(actual?.growthSd, expected?.growthSd, within, `growth SD of ${what}`);
}

function expectVisits(patient: PatientOutcome, expected: PatientOfR, within: number): void {
  const visits = patient.visits.filter(({ kind, gain }) => kind === 'follow_up' && gain !== null);
  const { date = [], age = [], years = [], value = [], readings = [], ...figures } = expected.visits;
  expect(visits.map((visit) => visit.date)).toEqual(date);
  expect(visits.map((visit) => visit.readings)).toEqual(readings);
  visits.forEach((visit, i) => {
    const what = `${patient.code} on ${visit.date ?? ''}`;
    expectWithin(visit.age, age[i] ?? NaN, 1e-12, `age of ${what}`);
    expectWithin(visit.years ?? NaN, years[i] ?? NaN, 1e-12, `years of ${what}`);
    expectWithin(visit.value, value[i] ?? NaN, 1e-12, `value of ${what}`);
    const figure = (name: keyof typeof figures): unknown => figures[name]?.[i] ?? null;
    expectEstimate(visit.gain, estimateOf(figure, 'gain'), within, `gain of ${what}`);
    expectSame(visit.gain?.growthSd, figure('gain.growthSd'), within, `growth SD of ${what}`);
    expectSame(
      visit.gain?.measurementSd,
      figure('gain.measurementSd'),
      CLOSED_FORM,
      `measurement SD of ${what}`,
    );
    expectSame(visit.share?.estimate, figure('share.estimate'), within, `share of ${what}`);
    if (visit.share !== null) {
      const set = { kind: String(figure('share.kind')), ...limitsOf(figure, 'share') };
      expectSet(visit.share.interval, set, within, `share of ${what}`);
    }
    expectStatus(visit.status, figure, within, what);
  });
}

type Figure = (name: `${'gain' | 'share' | 'status'}.${string}`) => unknown;

function limitsOf(figure: Figure, of: 'gain' | 'share'): { lower: number; upper: number } {
  return { lower: Number(figure(`${of}.lower`)), upper: Number(figure(`${of}.upper`)) };
}
function estimateOf(figure: Figure, of: 'gain' | 'share'): Estimate {
  return { estimate: Number(figure(`${of}.estimate`)), ...limitsOf(figure, of) };
}

function expectStatus(
  actual: PatientOutcome['visits'][number]['status'],
  figure: Figure,
  within: number,
  what: string,
) {
  expect(actual?.verdict, `verdict on ${what}`).toBe(figure('status.verdict'));
  if (actual === null || figure('status.margin') === null) return;
  expect(actual.reason, `reason of ${what}`).toBe(figure('status.reason'));
  expectSame(actual.margin, figure('status.margin'), within, `margin of ${what}`);
  expectSame(
    actual.measurementSd,
    figure('status.measurementSd'),
    CLOSED_FORM,
    `measurement SD of margin, ${what}`,
  );
  expectSame(actual.growthSd, figure('status.growthSd'), within, `growth SD of margin, ${what}`);
  expectSame(actual.limits?.lower, figure('status.lower'), within, `lower limit of margin, ${what}`);
  expectSame(actual.limits?.upper, figure('status.upper'), within, `upper limit of margin, ${what}`);
}

/** All numbers of one list against those of R, in order, and R's gaps against ours. */
function expectList(
  actual: readonly (number | null | undefined)[],
  expected: readonly NumberOrNull[],
  tolerance: number,
  what: string,
): void {
  expect(actual.length, `length of ${what}`).toBe(expected.length);
  expected.forEach((value, i) => expectSame(actual[i], value, tolerance, `${what}[${i}]`));
}

function expectSurvival(answer: OutcomeAnswer, expected: AnswerOfR['survival'][LossRule]): void {
  const { survival } = answer;
  if (survival === null) throw new Error('no survival');
  expect([survival.patients, survival.losses]).toEqual([expected.patients, expected.losses]);

  const { kaplanMeier, turnbull } = survival;
  const followed = kaplanMeier.atYears.filter(({ estimate }) => estimate !== null);
  expect(followed.map(({ year }) => year)).toEqual(expected.atRisk.map((_, i) => i + 1));
  expect(followed.map(({ atRisk }) => atRisk)).toEqual(expected.atRisk);
  const { atYears, steps } = expected.kaplanMeier;
  expectList(followed.map(({ estimate }) => estimate), atYears.survival, CLOSED_FORM, 'Kaplan-Meier'); // prettier-ignore
  expectList(followed.map(({ limits }) => limits?.lower), atYears.lower, CLOSED_FORM, 'its lower limits'); // prettier-ignore
  expectList(followed.map(({ limits }) => limits?.upper), atYears.upper, CLOSED_FORM, 'its upper limits'); // prettier-ignore
  expectList(kaplanMeier.points.map(({ time }) => time), steps.time, 1e-12, 'its steps'); // prettier-ignore
  expectList(kaplanMeier.points.map((point) => point.survival), steps.survival, CLOSED_FORM, 'after its steps'); // prettier-ignore
  expectList(kaplanMeier.points.map(({ lower }) => lower), steps.lower, CLOSED_FORM, 'lower limits after its steps'); // prettier-ignore
  expectList(kaplanMeier.points.map(({ upper }) => upper), steps.upper, CLOSED_FORM, 'upper limits after its steps'); // prettier-ignore

  const fit = expected.turnbull;
  expect([fit.unique, turnbull.converged]).toEqual([true, true]);
  // The stopping rule allows a shortfall of the gap, patient by patient.
  const allowed = Math.abs(fit.logLikelihood) * MAXIMUM_HEIGHT + survival.patients * turnbull.optimalityGap;
  expectWithin(turnbull.logLikelihood, fit.logLikelihood, Math.min(allowed, 1e-7), 'log-likelihood');
  fit.mass.forEach((mass, j) => {
    const cell = turnbull.intervals.find(
      ({ left, right }) =>
        Math.abs(left - (fit.left[j] ?? NaN)) < 1e-9 &&
        (fit.right[j] === null ? right === Infinity : Math.abs(right - (fit.right[j] ?? NaN)) < 1e-9),
    );
    expectWithin(cell?.mass ?? 0, mass, TURNBULL_MASS, `mass from ${fit.left[j]}`);
  });
  const read = turnbull.atYears.filter(({ estimate }) => estimate !== null);
  expectList(read.map(({ estimate }) => estimate), fit.atYears, TURNBULL_MASS, 'Turnbull'); // prettier-ignore
  expectList(read.map(({ undefinedWithin }) => undefinedWithin?.lower), fit.ends.lower, TURNBULL_MASS, 'lower end'); // prettier-ignore
  expectList(read.map(({ undefinedWithin }) => undefinedWithin?.upper), fit.ends.upper, TURNBULL_MASS, 'upper end'); // prettier-ignore
}

describe.each(mainJobFixture.answers)('the whole main job worked out in R: $measure', (expected) => {
  const { measure } = expected;
  /** Where a growth curve was fitted, figures are as good as the place of its maximum. */
  const within = expected.growth === null ? CLOSED_FORM : MAXIMUM_PLACE;

  it('the day of the records and the method error', () => {
    const { asOf, methodError } = answerOf(measure);
    expect(asOf).toBe(mainJobFixture.asOf);
    expect(methodError.source).toBe('duplicates');
    const { duplicates } = methodError;
    const error = expected.methodError;
    expect(duplicates?.pairs).toBe(error.pairs);
    expectClose(methodError.sd, error.dahlberg, 1e-12, 'error in force');
    expectSame(duplicates?.dahlbergLimits.lower, error.lower, CLOSED_FORM, 'lower limit');
    expectSame(duplicates?.dahlbergLimits.upper, error.upper, CLOSED_FORM, 'upper limit');
    expectSame(duplicates?.moments, error.moments, 1e-12, 'moments');
    expectSame(duplicates?.bias, error.bias, 1e-12, 'bias');
    expectSame(duplicates?.biasP, error.biasP, CLOSED_FORM, 'p of no bias');
  });

  it('the growth reference', () => {
    const { reference } = answerOf(measure);
    if (expected.growth === null) return expect(reference.kind).toBe('not-needed');
    if (reference.kind !== 'untreated-series') throw new Error(reference.kind);
    const { degreesOfFreedom, rateSd, residualSd, series } = expected.growth;
    expect(reference.degreesOfFreedom).toBe(degreesOfFreedom);
    expectClose(reference.rateSd, rateSd, VARIANCE_COMPONENT, 'SD of rates');
    expectClose(reference.residualSd, residualSd, VARIANCE_COMPONENT, 'residual SD');
    const facts = (one: { sex: string; children: number; measurements: number }) =>
      `${one.sex}: ${one.children} children, ${one.measurements} values`;
    expect(reference.series.map(facts)).toEqual(series.map(facts));
    series.forEach(({ sex, ages }, i) => {
      expectList(reference.series[i]?.ages ?? [], ages, 1e-12, `ages of ${sex}`);
    });
  });

  it("each patient's gain, visits, status and who is left out", () => {
    const { patients } = answerOf(measure);
    const judged = expected.patients.filter(({ consent }) => consent);
    expect(patients.map(({ code }) => code)).toEqual(judged.map(({ code }) => code));
    patients.forEach((patient, i) => {
      const row = judged[i];
      if (row === undefined) throw new Error(patient.code);
      expectGain(patient.gain, row.gain, within, patient.code);
      expectSame(patient.treatedAgainAt, row.treatedAgainAt, 1e-12, `second treatment of ${patient.code}`);
      expectVisits(patient, row, within);
      expect(patient.leftOut, `${patient.code} left out`).toBe(row.leftOut);
      expect(patient.status.verdict, `verdict on ${patient.code}`).toBe(row.verdict);
    });
  });

  it('the mean gain, the retained share by year and the share above the threshold', () => {
    const answer = answerOf(measure);
    expect(answer.gain?.n).toBe(expected.gain.n);
    expectSame(answer.gain?.mean, expected.gain.mean, within, 'mean gain');
    expectSame(answer.gain?.sd, expected.gain.sd, within, 'SD of gains');
    expectSame(answer.gain?.limits.lower, expected.gain.lower, within, 'lower limit of mean gain');
    expectSame(answer.gain?.limits.upper, expected.gain.upper, within, 'upper limit of mean gain');
    expect(answer.retained.map(({ year }) => year)).toEqual(expected.retained.map(({ year }) => year));
    expect(answer.above.map(({ year }) => year)).toEqual(expected.above.map(({ year }) => year));
    for (const row of expected.retained) {
      const year = answer.retained.find((one) => one.year === row.year);
      expect(year?.n, `patients in year ${row.year}`).toBe(row.n);
      expectSame(year?.meanGainAtEnd, row.meanGainAtEnd, within, `gain at end, year ${row.year}`);
      expectSame(year?.meanGainNow, row.meanGainNow, within, `gain in year ${row.year}`);
      expectSame(year?.share?.estimate, row.estimate, within, `share of year ${row.year}`);
      expectSet(year?.share?.interval, row.interval, within, `share of year ${row.year}`);
    }
    for (const row of expected.above) {
      const year = answer.above.find((one) => one.year === row.year);
      expect(year?.n, `patients in year ${row.year}`).toBe(row.n);
      expectSame(year?.measured, row.measured, 1e-12, `measured above, year ${row.year}`);
      expectEstimate(year?.corrected ?? null, row.corrected ?? null, within, `above, year ${row.year}`);
    }
  });

  it('who was seen in each year', () => {
    const flow = answerOf(measure).flow.map(({ seenNotMeasured, seenFactorUnknown, ...year }) => {
      expect(seenFactorUnknown).toBe(0);
      expect(seenNotMeasured).toBe(year.seen - year.measured);
      return year;
    });
    expect(flow).toEqual(expected.flow);
  });

  it.each(RULES)('losses, both curves and the losses expected from error alone, rule %s', (rule) => {
    const answer = answerOf(measure, rule);
    for (const row of expected.patients) {
      const loss = answer.patients.find(({ code }) => code === row.code)?.loss ?? null;
      expectSame(loss?.left, row.loss?.[rule].left, 1e-12, `${row.code} not lost at`);
      expectSame(loss?.right, row.loss?.[rule].right, 1e-12, `${row.code} lost by`);
    }
    expectSurvival(answer, expected.survival[rule]);
    expectClose(
      answer.survival?.falseLossesExpected ?? NaN,
      expected.survival[rule].falseLosses,
      MAXIMUM_PLACE,
      'losses expected from error alone',
    );
  });
});

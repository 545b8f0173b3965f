import { describe, expect, it } from 'vitest';
import {
  diagnose,
  fadingShare,
  fitFadingPart,
  fitGrowthClock,
  lastingShare,
  leaveOnePatientOut,
  limitsAlongTau,
  patientRows,
  regressorSums,
  totalInformation,
  worthOfRecall,
  type ClockSeries,
  type PartEstimate,
} from '@longhold/core/separation';
import { answered } from './answered';
import { expectAllClose, expectClose } from './closeness';
import { readFixture, type NumberOrNull } from './fixture';
import { CLOSED_FORM, MAXIMUM_HEIGHT, MAXIMUM_PLACE, VARIANCE_COMPONENT } from './tolerances';

/*
 * Outside: lme4 and lmerTest for the two models (tau by R's own optimiser over the profile), dense matrices in R for the
 * reach of the curve, for patients left out and for the worth of a visit. Invented, seeded series.
 */
interface Part extends Omit<PartEstimate, 'name'> {
  readonly lower: number;
  readonly upper: number;
}
interface SeparationCase {
  readonly name: string;
  readonly rows: { patient: number[]; time: number[]; gain: number[]; velocity: number[] };
  readonly clock: {
    readonly lasting: Part;
    readonly passing: Part;
    readonly covariance: number;
    readonly betweenPatients: number[];
    readonly residualSd: number;
    readonly restrictedLogLikelihood: number;
    readonly logLikelihood: number;
    readonly aic: number;
    readonly regressorAtEnd: number;
    readonly gainAtEnd: number;
    readonly gainAtEndError: number;
    readonly lastingShare: number;
    readonly share: { kind: 'bounded' | 'unbounded'; lower: number; upper: number };
    readonly leftOut: { patient: number; at: number[] }[];
  };
  readonly curve: {
    readonly rows: { growth: number[][]; velocity: number[][] };
    readonly curveCovariance: number[][];
    readonly transfer: number[][];
    readonly lastingError: number;
    readonly passingError: number;
    readonly covariance: number;
    readonly gainAtEndError: number;
  } | null;
  readonly fading: {
    readonly tau: number;
    readonly tauLower: NumberOrNull;
    readonly tauUpper: NumberOrNull;
    readonly logLikelihood: number;
    readonly at: { lasting: number; passing: number };
    readonly along:
      | { readonly bounded: false; readonly df: number[] }
      | {
          readonly bounded: true;
          readonly df: number[];
          readonly lasting: [number, number];
          readonly passing: [number, number];
          readonly gainAfterThree: [number, number];
          readonly share: [number, number];
        };
  } | null;
  readonly worth: { patient: number; velocity: number; now: number; then: number }[];
}

const { cases } = readFixture<{ cases: SeparationCase[] }>('separation');

function seriesOf({ rows }: SeparationCase, curve: ClockSeries['curve'] = null): ClockSeries {
  return { patient: rows.patient, gain: rows.gain, velocity: rows.velocity, curve };
}

function curveOf({ curve }: SeparationCase): ClockSeries['curve'] {
  if (curve === null) return null;
  const { curveCovariance } = curve;
  return {
    direction: 1,
    expectedGrowth: curve.rows.growth,
    velocity: curve.rows.velocity,
    coefficients: curveCovariance.length,
    covariance: (left, right) =>
      left.reduce(
        (sum, a, i) =>
          sum + right.reduce((inner, b, j) => inner + a * b * (curveCovariance[i]?.[j] ?? NaN), 0),
        0,
      ),
  };
}

function expectPart(part: PartEstimate, outside: Part, what: string): void {
  expectClose(part.estimate, outside.estimate, MAXIMUM_PLACE, `${what}, estimate`);
  expectClose(part.standardError, outside.standardError, MAXIMUM_PLACE, `${what}, standard error`);
  // lmerTest takes its derivatives by differences.
  expectClose(part.df ?? NaN, outside.df ?? NaN, 2e-4, `${what}, degrees of freedom`);
  expectClose(part.lower ?? NaN, outside.lower, 1e-4, `${what}, lower limit`);
  expectClose(part.upper ?? NaN, outside.upper, 1e-4, `${what}, upper limit`);
}

describe.each(cases)('lasting and brought forward, $name', (one) => {
  const { clock } = one;

  it('has the growth clock of lme4', () => {
    const fit = answered(fitGrowthClock(seriesOf(one)));
    expectPart(fit.lasting, clock.lasting, 'T');
    expectPart(fit.passing, clock.passing, 'S');
    const { lasting, both, passing } = fit.betweenPatients;
    expectAllClose([lasting, both, passing], clock.betweenPatients, VARIANCE_COMPONENT, 'components', 1);
    expectClose(fit.residualSd, clock.residualSd, MAXIMUM_PLACE);
    expectClose(fit.restrictedLogLikelihood, clock.restrictedLogLikelihood, MAXIMUM_HEIGHT);
    expectClose(fit.logLikelihood, clock.logLikelihood, MAXIMUM_HEIGHT);
    expectClose(fit.aic, clock.aic, MAXIMUM_HEIGHT);
  });

  it('has the lasting share and its Fieller set', () => {
    const fit = answered(fitGrowthClock(seriesOf(one)));
    const share = lastingShare(fit, clock.regressorAtEnd, 0.95);
    expectClose(share.estimate, clock.lastingShare, MAXIMUM_PLACE);
    expectClose(share.gainAtEnd.estimate, clock.gainAtEnd, MAXIMUM_PLACE);
    expectClose(share.gainAtEnd.standardError, clock.gainAtEndError, MAXIMUM_PLACE);
    expect(share.interval.kind).toBe(clock.share.kind);
    if (share.interval.kind !== 'bounded') throw new Error(share.interval.kind);
    expectClose(share.interval.lower, clock.share.lower, 1e-4);
    expectClose(share.interval.upper, clock.share.upper, 1e-4);
  });

  it('is the same generalised least squares with each patient left out', () => {
    const fit = answered(fitGrowthClock(seriesOf(one)));
    const left = leaveOnePatientOut(seriesOf(one), one.rows.velocity, fit);
    expect(left).toHaveLength(fit.patients);
    for (const { patient, at } of clock.leftOut) {
      const ours = left.find((row) => row.patient === patient);
      expectAllClose([ours?.lasting ?? NaN, ours?.passing ?? NaN], at, 1e-5, `without ${patient}`, 1);
    }
  });

  it('knows what one more visit is worth', () => {
    const fit = answered(fitGrowthClock(seriesOf(one)));
    const components = { betweenPatients: fit.betweenPatients, residualVariance: fit.residualSd ** 2 };
    const sums = new Map(
      patientRows(seriesOf(one)).map((rows) => [
        one.rows.patient[rows[0] ?? -1],
        regressorSums(rows.map((row) => one.rows.velocity[row] ?? NaN)),
      ]),
    );
    const total = totalInformation(sums.values(), components);
    for (const { patient, velocity, now, then } of one.worth) {
      const own = sums.get(patient);
      if (own === undefined) throw new Error(`no patient ${patient}`);
      const worth = worthOfRecall(total, own, velocity, components);
      expectClose(worth?.standardErrorNow ?? NaN, now, MAXIMUM_PLACE);
      expectClose(worth?.standardErrorThen ?? NaN, then, MAXIMUM_PLACE);
    }
  });
});

describe.each(cases.filter(({ curve }) => curve !== null))('an uncertain growth curve, $name', (one) => {
  it('reaches into T and S as differences of dense least squares say', () => {
    const fit = answered(fitGrowthClock(seriesOf(one, curveOf(one))));
    const { curve } = one;
    if (curve === null || fit.transfer === null) throw new Error('no curve');
    expectAllClose(fit.transfer.lasting, curve.transfer[0] ?? [], 1e-5, 'reach into T', 1);
    expectAllClose(fit.transfer.passing, curve.transfer[1] ?? [], 1e-5, 'reach into S', 1);
    expectClose(fit.lasting.standardError, curve.lastingError, MAXIMUM_PLACE);
    expectClose(fit.passing.standardError, curve.passingError, MAXIMUM_PLACE);
    expectClose(fit.covariance.both, curve.covariance, MAXIMUM_PLACE);
    const row = endRow(one);
    const share = lastingShare(fit, one.clock.regressorAtEnd, 0.95, { transfer: fit.transfer, row });
    expectClose(share.gainAtEnd.standardError, curve.gainAtEndError, MAXIMUM_PLACE);
  });
});

function endRow({ rows, curve }: SeparationCase): number[] {
  const ends = (curve?.rows.velocity ?? []).filter((_, i) => rows.time[i] === 0);
  return (ends[0] ?? []).map((_, k) => ends.reduce((sum, row) => sum + (row[k] ?? NaN), 0) / ends.length);
}

describe.each(cases.filter(({ fading }) => fading !== null))('the fading part, $name', (one) => {
  it('has the tau, limits and parts of lme4 along the profile', () => {
    const { fading } = one;
    if (fading === null) throw new Error('no fading part');
    const fit = answered(fitFadingPart({ ...one.rows }));
    expectClose(fit.tau, fading.tau, 2e-4, 'tau');
    expectClose(fit.logLikelihood, fading.logLikelihood, CLOSED_FORM, 'height');
    expectEnd(fit.tauLower, fading.tauLower, 'lower tau');
    expectEnd(fit.tauUpper, fading.tauUpper, 'upper tau');
    // Everything at tau moves with tau, which both sides know to four digits only.
    expectClose(fit.lasting.estimate, fading.at.lasting, 1e-3);
    expectClose(fit.passing.estimate, fading.at.passing, 1e-3);
    expectAllClose(
      [fit.lasting.df ?? NaN, fit.passing.df ?? NaN],
      fading.along.df,
      1e-2,
      'degrees of freedom',
    );
  });

  it('has limits over all taus that the data leave open, as R’s optimiser finds them, or none', () => {
    const { fading } = one;
    if (fading === null) throw new Error('no fading part');
    const { along } = fading;
    const fit = answered(fitFadingPart({ ...one.rows }));
    const share = fadingShare(fit);
    expect(fit.tauBounded).toBe(along.bounded);
    if (!along.bounded) {
      expect([fit.lasting.lower, fit.lasting.upper, fit.passing.lower, fit.passing.upper]).toEqual(
        Array(4).fill(null),
      );
      expect(share.interval.kind).toBe('whole-line');
      expect(diagnose(fit, share)).toBe('cannot-tell');
      return;
    }
    expectLimits(fit.lasting, along.lasting, 'T');
    expectLimits(fit.passing, along.passing, 'P');
    expectLimits(
      limitsAlongTau(fit.along, (tau) => [1, Math.exp(-3 / tau)]),
      along.gainAfterThree,
      'A(3)',
    );
    if (share.interval.kind !== 'bounded') throw new Error(share.interval.kind);
    expectLimits(share.interval, along.share, 'share');
  });
});

function expectEnd(ours: number | null, outside: NumberOrNull, what: string): void {
  if (outside === null) expect(ours, what).toBeNull();
  else expectClose(ours ?? NaN, outside, 1e-3, what);
}

/** Ours are tops of parabolas through a few taus: right to two thousandths of the interval's length. */
function expectLimits(
  { lower, upper }: { lower: number | null; upper: number | null },
  outside: readonly [number, number],
  what: string,
): void {
  const length = outside[1] - outside[0];
  expect(Math.abs((lower ?? NaN) - outside[0]) / length, `${what}, lower`).toBeLessThan(2e-3);
  expect(Math.abs((upper ?? NaN) - outside[1]) / length, `${what}, upper`).toBeLessThan(2e-3);
}

import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal, mean, sortedQuantile, twoSidedNormal, type RandomStream } from '../numeric';
import {
  expectedInformation,
  fadingInformation,
  fitFadingPart,
  fitGrowthClock,
  inverseInformation,
  visitPatterns,
  withTauEstimated,
  type FadingPartFit,
  type FollowUpSchedule,
  type GrowthClockFit,
} from '../separation';
import { componentsOf } from './patient-worth';
import { clockReach, fadingReach, halfOf } from './planned-reach';

const EVERYBODY_COMES = { years: 4, dropOut: 0, missed: 0 };
const SOME_STAY_AWAY = { years: 4, dropOut: 0.1, missed: 0.15 };
const VELOCITIES = [3, 2.4, 1.7, 1, 0.4];
const TIMES = [0, 1, 2, 3, 4];
const TAU = 1.2;

/** Gains of invented patients: T 2.5 with SD 1.4, the other part 1.2 with SD 0.5 for each unit of the regressor, error 0.6. */
function inventedGains(
  patients: number,
  visits: readonly number[],
  regressor: (visit: number) => number,
  { dropOut, missed }: FollowUpSchedule,
  random: RandomStream,
) {
  const series = { patient: [] as number[], gain: [] as number[], visit: [] as number[] };
  for (let i = 0; i < patients; i++) {
    const [lasting, passing] = [2.5 + 1.4 * random.normal(), 1.2 + 0.5 * random.normal()];
    for (const [year, visit] of visits.entries()) {
      if (year > 0 && random.uniform() < dropOut) break;
      if (year > 0 && random.uniform() < missed) continue;
      series.patient.push(i);
      series.visit.push(visit);
      series.gain.push(lasting + passing * regressor(visit) + 0.6 * random.normal());
    }
  }
  return series;
}

function clockOf(patients: number, schedule: FollowUpSchedule, random: RandomStream): GrowthClockFit {
  const { visit, ...series } = inventedGains(patients, VELOCITIES, (x) => x, schedule, random);
  const fit = fitGrowthClock({ ...series, velocity: visit, curve: null });
  if (isRefusal(fit)) throw new Error(fit.message);
  return fit;
}

function fadingOf(patients: number, schedule: FollowUpSchedule, random: RandomStream): FadingPartFit | null {
  const { visit, ...series } = inventedGains(
    patients,
    TIMES,
    (t) => 2 * Math.exp(-t / TAU),
    schedule,
    random,
  );
  const fit = fitFadingPart({ ...series, time: visit });
  return isRefusal(fit) ? null : fit;
}

/*
 * The plan is made from 2,000 patients, which know the variances to some 3 %. Half-widths of single studies of 12 scatter
 * by a fifth, the mean of 100 by 2.5 %. With the normal quantile the promise for 12 would be 11 % too narrow.
 */
describe('the half-width that a plan promises', { timeout: 30_000 }, () => {
  it.each([
    [12, 'who all come', EVERYBODY_COMES, 0.05],
    [60, 'who all come', EVERYBODY_COMES, 0.03],
    [12, 'some of whom stay away', SOME_STAY_AWAY, 0.08],
    [60, 'some of whom stay away', SOME_STAY_AWAY, 0.05],
  ] as const)(
    'is that of simulated studies of %d patients, %s, read by the growth clock',
    (patients, _, schedule, within) => {
      const random = createRandom(5);
      const kinds = [{ made: VELOCITIES.slice(0, 1), awaited: VELOCITIES.slice(1), comes: 1 }];
      const large = clockOf(2000, schedule, random);
      const promised = clockReach(
        large,
        { x: 3, curve: null },
        0.95,
        visitPatterns(kinds, schedule),
      )(patients);
      const found = Array.from(
        { length: 100 },
        () => halfOf(clockOf(patients, schedule, random).lasting) ?? NaN,
      );
      expect(Math.abs(mean(found) / (promised.lasting ?? NaN) - 1)).toBeLessThan(within);
    },
  );

  // A few studies leave tau nearly open and have very wide limits: the middle half-width is compared.
  it('is that of simulated studies read by the fading part, all doubt about tau included', () => {
    const random = createRandom(6);
    const kinds = [{ made: [0], awaited: TIMES.slice(1), comes: 1 }];
    const large = fadingOf(600, SOME_STAY_AWAY, random);
    if (large === null) throw new Error('no fit');
    const promised = fadingReach(large, 0.95, visitPatterns(kinds, SOME_STAY_AWAY))(30);
    const found = Array.from({ length: 30 }, () => {
      const fit = fadingOf(30, SOME_STAY_AWAY, random);
      return fit === null ? null : halfOf(fit.lasting);
    }).filter((half) => half !== null);
    expect(found).toHaveLength(30);
    expect(
      Math.abs(
        sortedQuantile(
          [...found].sort((a, b) => a - b),
          0.5,
        ) /
          (promised.lasting ?? NaN) -
          1,
      ),
    ).toBeLessThan(0.12);
  });

  it('is none where the expected number of followed patients is too small for a fit', () => {
    const kinds = [{ made: VELOCITIES.slice(0, 1), awaited: VELOCITIES.slice(1), comes: 1 }];
    const large = clockOf(200, SOME_STAY_AWAY, createRandom(7));
    const reach = clockReach(large, { x: 3, curve: null }, 0.95, visitPatterns(kinds, SOME_STAY_AWAY));
    expect(reach(6)).toEqual({ lasting: null, share: null });
    expect(reach(8).lasting).toBeGreaterThan(0);
    const allCome = clockReach(large, { x: 3, curve: null }, 0.95, visitPatterns(kinds, EVERYBODY_COMES));
    expect(allCome(6).lasting).toBeGreaterThan(0);
  });

  it('is none where so few patients are expected to leave open whether the part fades at all', () => {
    const kinds = [{ made: [0], awaited: TIMES.slice(1), comes: 1 }];
    const large = fadingOf(600, EVERYBODY_COMES, createRandom(8));
    if (large === null) throw new Error('no fit');
    const reach = fadingReach(large, 0.95, visitPatterns(kinds, { ...EVERYBODY_COMES, years: 3 }));
    expect(reach(7)).toEqual({ lasting: null, share: null });
    expect(reach(200).lasting).toBeGreaterThan(0);
  });

  it('is, for very many patients, that of the information with tau estimated', () => {
    const kinds = [{ made: [0], awaited: TIMES.slice(1), comes: 1 }];
    const large = fadingOf(600, SOME_STAY_AWAY, createRandom(9));
    if (large === null) throw new Error('no fit');
    const patterns = visitPatterns(kinds, SOME_STAY_AWAY);
    const place = { tau: large.tau, passing: large.passing.estimate };
    const one = expectedInformation(patterns, (times) =>
      fadingInformation(times, place, componentsOf(large)),
    );
    const variance = inverseInformation(withTauEstimated(one))?.lasting ?? NaN;
    const half = fadingReach(large, 0.95, patterns)(20_000).lasting ?? NaN;
    expect(Math.abs(half / (twoSidedNormal(0.95) * Math.sqrt(variance / 20_000)) - 1)).toBeLessThan(0.01);
  });
});

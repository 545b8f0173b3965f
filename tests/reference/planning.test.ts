import { describe, expect, it } from 'vitest';
import {
  expectedDesign,
  expectedInformation,
  designInformation,
  fadingInformation,
  inverseInformation,
  limitsAlongTau,
  plannedDf,
  plannedTaus,
  regressorSums,
  sumOfDesigns,
  visitPatterns,
  withTauEstimated,
  type Covariance,
  type FollowUpSchedule,
  type PlannedFading,
} from '@longhold/core/separation';
import { expectAllClose, expectClose } from './closeness';
import { readFixture } from './fixture';
import { CLOSED_FORM, MAXIMUM_PLACE } from './tolerances';

/*
 * Outside: dense matrices in R, patient by patient and way of coming by way of coming; the projection matrix of a whole
 * study with derivatives by differences; lmerTest; R's optimiser over tau.
 */
interface Kinds {
  readonly made: number[];
  readonly awaited: (number | null)[];
}
interface Planned {
  readonly components: { readonly G: number[]; readonly s2: number };
  readonly clock: {
    readonly kinds: Kinds[];
    readonly schedule: FollowUpSchedule;
    readonly information: number[];
    readonly errorsOfTwenty: number[];
  };
  readonly whole: { readonly visits: number[][]; readonly full: number[]; readonly diagonal: number[] };
  readonly fading: {
    readonly place: PlannedFading;
    readonly kinds: Kinds[];
    readonly schedule: FollowUpSchedule;
    readonly varianceOfLasting: number;
    readonly taus: { tau: number; fall: number; parts: number[]; covariance: number[] }[];
    readonly limits: { patients: number; multiplier: number; lasting: [number, number] }[];
  };
  readonly series: {
    readonly name: string;
    readonly visits: number[][];
    readonly G: number[];
    readonly s2: number;
    readonly errors: number[];
    readonly df: number[];
  }[];
}

const { components: given, clock, whole, fading, series } = readFixture<Planned>('planning');
const componentsOf = ({ G, s2 }: { readonly G: number[]; readonly s2: number }) => ({
  betweenPatients: { lasting: G[0] ?? NaN, both: G[1] ?? NaN, passing: G[2] ?? NaN },
  residualVariance: s2,
});
const components = componentsOf(given);
const entries = ({ lasting, both, passing }: Covariance): number[] => [lasting, both, passing];
const everComing = (kinds: readonly Kinds[]) => kinds.map((kind) => ({ ...kind, comes: 1 }));
const designOf = (study: readonly number[][], by: typeof components) =>
  sumOfDesigns(
    study.map((visits) => ({
      weight: 1 / study.length,
      design: designInformation(regressorSums(visits), by),
    })),
  );

describe('a study planned by the growth clock', () => {
  it('is expected to tell what dense matrices, averaged over all ways of coming, say', () => {
    const design = expectedDesign(
      visitPatterns(everComing(clock.kinds), clock.schedule),
      (x) => x,
      components,
    );
    expectAllClose(entries(design.parts), clock.information, CLOSED_FORM, 'information', 1);
    const one = inverseInformation(design.parts);
    const errors = [one?.lasting, one?.passing].map((variance) => Math.sqrt((variance ?? NaN) / 20));
    expectAllClose(errors, clock.errorsOfTwenty, CLOSED_FORM, 'errors of twenty patients', 1);
  });

  it('has the degrees of freedom of the projection matrix of the whole study', () => {
    const full = plannedDf(designOf(whole.visits, components), whole.visits.length, 'full');
    // R takes the derivatives of the variance by differences.
    expectAllClose([full?.lasting ?? NaN, full?.passing ?? NaN], whole.full, 1e-6, 'correlated', 1);
    const uncorrelated = { ...components, betweenPatients: { ...components.betweenPatients, both: 0 } };
    const diagonal = plannedDf(designOf(whole.visits, uncorrelated), whole.visits.length, 'diagonal');
    expectAllClose(
      [diagonal?.lasting ?? NaN, diagonal?.passing ?? NaN],
      whole.diagonal,
      1e-6,
      'uncorrelated',
      1,
    );
  });

  /*
   * lmerTest takes the observed curvature of the likelihood, a plan the expected one: equal where all have the same visits,
   * and a few per cent apart elsewhere.
   */
  it.each(series.map((one) => [one.name, one] as const))(
    'has the errors and about the degrees of freedom of lmerTest, %s',
    (_, { visits, errors, df, ...parts }) => {
      const design = designOf(visits, componentsOf(parts));
      const one = inverseInformation(design.parts);
      const ours = [one?.lasting, one?.passing].map((variance) =>
        Math.sqrt((variance ?? NaN) / visits.length),
      );
      expectAllClose(ours, errors, MAXIMUM_PLACE, 'errors', 1);
      const found = plannedDf(design, visits.length, 'full');
      const isBalanced = new Set(visits.map((own) => own.join(' '))).size === 1;
      expectAllClose(
        [found?.lasting ?? NaN, found?.passing ?? NaN],
        df,
        isBalanced ? 1e-6 : 0.12,
        'degrees of freedom',
        1,
      );
    },
  );
});

describe('a study planned by the fading part', () => {
  const patterns = visitPatterns(everComing(fading.kinds), fading.schedule);
  const points = plannedTaus(patterns, fading.place, components, [Math.log(0.2), Math.log(18)]);

  it('is expected to tell what dense matrices with tau estimated say', () => {
    const one = expectedInformation(patterns, (times) => fadingInformation(times, fading.place, components));
    const variance = inverseInformation(withTauEstimated(one))?.lasting ?? NaN;
    expectClose(variance, fading.varianceOfLasting, CLOSED_FORM, 'variance of T');
  });

  it.each(fading.taus)('finds with tau held at $tau years what dense least squares find', (outside) => {
    // The range is chosen so that the tau asked for is one of its ends.
    const log = Math.log(outside.tau);
    const middle = Math.log(fading.place.tau);
    const held = plannedTaus(patterns, fading.place, components, [
      log < middle ? log : middle - 1,
      log > middle ? log : middle + 1,
    ]);
    const point = held.find(({ tau }) => Math.abs(tau / outside.tau - 1) < 1e-12);
    expect(Math.abs((point?.fall ?? NaN) - outside.fall)).toBeLessThan(1e-12);
    expectAllClose([point?.lasting ?? NaN, point?.passing ?? NaN], outside.parts, CLOSED_FORM, 'parts', 1);
    if (point === undefined) throw new Error('tau not among the points');
    expectAllClose(entries(point.covariance), outside.covariance, CLOSED_FORM, 'covariance', 1);
  });

  it.each(fading.limits)(
    'has for $patients patients the limits that R’s optimiser finds over all taus',
    ({ patients, multiplier, lasting }) => {
      const found = limitsAlongTau(
        {
          multiplier,
          points: points
            .filter(({ fall }) => 2 * patients * fall <= multiplier ** 2)
            .map((point) => ({
              ...point,
              fall: patients * point.fall,
              covariance: {
                lasting: point.covariance.lasting / patients,
                both: point.covariance.both / patients,
                passing: point.covariance.passing / patients,
              },
            })),
        },
        () => [1, 0],
      );
      // Tops of parabolas through a few taus, coarser where few patients leave many taus open: right to a hundredth.
      const length = lasting[1] - lasting[0];
      expect(Math.abs(found.lower - lasting[0]) / length).toBeLessThan(1e-2);
      expect(Math.abs(found.upper - lasting[1]) / length).toBeLessThan(1e-2);
    },
  );
});

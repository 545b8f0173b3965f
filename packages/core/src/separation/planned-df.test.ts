import { describe, expect, it } from 'vitest';
import { designInformation, sumOfDesigns } from './design-information';
import { regressorSums } from './patient-information';
import { plannedDf } from './planned-df';

const components = { betweenPatients: { lasting: 4, both: -0.1, passing: 0.2 }, residualVariance: 0.5 };
const designOf = (...patients: readonly (readonly number[])[]) =>
  sumOfDesigns(
    patients.map((visits) => ({
      weight: 1 / patients.length,
      design: designInformation(regressorSums(visits), components),
    })),
  );

describe('the degrees of freedom of a planned study', () => {
  it.each([6, 12, 60])('are n - 1 where all of %d patients have the same visits', (patients) => {
    const df = plannedDf(designOf([3, 2.2, 1.4, 0.5]), patients, 'full');
    expect(df?.lasting).toBeCloseTo(patients - 1, 8);
    expect(df?.passing).toBeCloseTo(patients - 1, 8);
  });

  it('are n - 1 too where two visits each cannot tell the residual from what patients differ by', () => {
    expect(plannedDf(designOf([3, 0.5]), 12, 'full')?.lasting).toBeCloseTo(11, 6);
  });

  it('are more than that of patients with all visits where others came only once', () => {
    const some = plannedDf(designOf([3, 2.2, 1.4, 0.5], [2.8]), 12, 'full');
    // Six patients with all visits would have five.
    expect(some?.lasting).toBeGreaterThan(5);
    expect(some?.lasting).toBeLessThan(11);
  });

  it('hang neither on the unit of the gain nor on that of the regressor', () => {
    const visits = [
      [3, 2.2, 1.4],
      [2.5, 0.4],
    ];
    const asIs = plannedDf(designOf(...visits), 10, 'full');
    const { lasting, both, passing } = components.betweenPatients;
    const scaled = plannedDf(
      sumOfDesigns(
        visits.map((own) => ({
          weight: 1 / 2,
          design: designInformation(regressorSums(own.map((x) => 1000 * x)), {
            betweenPatients: { lasting: 100 * lasting, both: both / 10, passing: passing / 1e4 },
            residualVariance: 50,
          }),
        })),
      ),
      10,
      'full',
    );
    expect(scaled?.lasting).toBeCloseTo(asIs?.lasting ?? NaN, 6);
    expect(scaled?.passing).toBeCloseTo(asIs?.passing ?? NaN, 6);
  });

  it('are none where nobody is seen twice', () => {
    expect(plannedDf(designOf([3], [3]), 12, 'full')).toBeNull();
  });
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { findMeasure } from '../measures';
import { createRandom } from '../numeric';
import { growthReference } from './reference';
import { referenceDeviations } from './reference-draws';

const measure = findMeasure('Co-Gn');
if (measure === undefined) throw new Error('Co-Gn is not in the catalogue');
const { study, tables } = generateDemo({ seed: 7, patients: 60 });

describe('drawn errors of a growth reference', () => {
  it("have the covariance of the curve's coefficients", () => {
    const curve = growthReference(study, measure, 'untreated-series');
    if (curve.kind !== 'untreated-series') throw new Error('no curve');
    const draw = referenceDeviations(curve);
    const random = createRandom(11);
    const draws = Array.from({ length: 20_000 }, () => draw?.(random) ?? new Float64Array());
    const size = curve.fit.coefficients.length;
    for (let row = 0; row < size; row++) {
      for (let column = 0; column < size; column++) {
        const products = draws.map((one) => (one[row] ?? NaN) * (one[column] ?? NaN));
        const found = products.reduce((sum, one) => sum + one, 0) / draws.length;
        const at = (i: number, j: number): number => curve.fit.covariance[i * size + j] ?? NaN;
        const scale = Math.sqrt(at(row, row) * at(column, column));
        expect(Math.abs(found - at(row, column)) / scale).toBeLessThan(0.05);
      }
    }
  });

  it('are standard errors of the means of an imported table, and none where it does not give them', () => {
    const [table] = tables;
    if (table === undefined) throw new Error('the demo has no table');
    const of = (rows: typeof table.rows) =>
      referenceDeviations(
        growthReference(study, { ...measure, code: table.measure }, 'imported-table', {
          tables: [{ ...table, rows }],
          name: table.name,
        }),
      );
    expect(of(table.rows.map((row) => ({ ...row, sd: null, n: null })))).toBeNull();
    const draw = of(table.rows.map((row) => ({ ...row, sd: 3, n: 9 })));
    const random = createRandom(5);
    const first = Array.from({ length: 20_000 }, () => draw?.(random)[0] ?? NaN);
    const variance = first.reduce((sum, one) => sum + one ** 2, 0) / first.length;
    expect(Math.sqrt(variance) / table.filmFactor).toBeCloseTo(1, 1);
  });

  it('are not known of the built-in table', () => {
    expect(referenceDeviations(growthReference([], measure, 'built-in-table'))).toBeNull();
  });
});

import { describe, expect, it } from 'vitest';
import type { PatientOutcome } from './answer';
import { compareBaseline } from './baseline-comparison';

function patient(code: string, extra: Partial<PatientOutcome> = {}): PatientOutcome {
  return {
    code,
    sex: 'female',
    protocol: null,
    expansion: null,
    maturityStart: null,
    gain: null,
    visits: [],
    status: {
      verdict: 'held',
      reason: null,
      margin: null,
      measurementSd: null,
      growthSd: null,
      limits: null,
    },
    loss: null,
    lossByRule: null,
    treatedAgainAt: null,
    leftOut: null,
    ...extra,
  };
}

/** Cushny and Peebles 1905 as in R's `sleep`. */
const SLEEP = [
  [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
  [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
] as const;

describe('the comparison of seen and unseen', () => {
  it("has the means and limits that R's t.test prints for the sleep data", () => {
    const groups = SLEEP.map((values, g) =>
      values.map((value, i) =>
        patient(`${g}-${i}`, {
          gain: { estimate: value, measurementSd: 0, growthSd: 0, limits: { lower: 0, upper: 0 } },
        }),
      ),
    );
    const rows = compareBaseline(groups[0] ?? [], groups[1] ?? [], new Map(), 0.95);
    const gain = rows.find(({ name }) => name === 'Gain of treatment');
    expect(gain?.seen.value).toBeCloseTo(0.75, 12);
    expect(gain?.unseen.value).toBeCloseTo(2.33, 12);
    // Printed by R 4 for t.test(extra ~ group, data = sleep): -3.3654832 0.2054832.
    expect(gain?.limits.lower).toBeCloseTo(-3.3654832, 7);
    expect(gain?.limits.upper).toBeCloseTo(0.2054832, 7);
  });

  it('has the limits that Newcombe 1998 prints for 56 of 70 against 48 of 80 (method 10; from memory)', () => {
    const boys = (n: number): PatientOutcome[] =>
      Array.from({ length: n }, (_, i) => patient(`b${i}`, { sex: 'male' }));
    const girls = (n: number): PatientOutcome[] => Array.from({ length: n }, (_, i) => patient(`g${i}`));
    const rows = compareBaseline([...girls(56), ...boys(14)], [...girls(48), ...boys(32)], new Map(), 0.95);
    const share = rows.find(({ name }) => name === 'Girls');
    expect(share?.difference).toBeCloseTo(0.2, 12);
    expect(share?.limits.lower).toBeCloseTo(0.0524, 4);
    expect(share?.limits.upper).toBeCloseTo(0.3339, 4);
  });

  it('leaves a patient out of the row that is not recorded for the patient, and only there', () => {
    const seen = Array.from({ length: 6 }, (_, i) => patient(`s${i}`, { expansion: i === 0 ? null : i < 3 }));
    const unseen = Array.from({ length: 5 }, (_, i) => patient(`u${i}`, { expansion: true }));
    const rows = compareBaseline(seen, unseen, new Map(), 0.95);
    expect(rows.find(({ name }) => name === 'Upper jaw widened')?.seen.n).toBe(5);
    expect(rows.find(({ name }) => name === 'Girls')?.seen.n).toBe(6);
  });

  it('says nothing about fewer than five', () => {
    const few = Array.from({ length: 4 }, (_, i) => patient(`s${i}`));
    expect(compareBaseline(few, [...few, patient('x')], new Map(), 0.95)).toEqual([]);
  });
});

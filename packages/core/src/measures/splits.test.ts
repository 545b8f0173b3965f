import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { splitChinPosition } from './chin-position';
import { splitMolarRelation, splitOverjet, type CorrectionParts } from './sagittal-occlusal';

/** Constructed example: overjet -5.5 = -2.5 - 1.5 - 1.5, molar relation -5.0 = -2.5 - 1.5 - 1.0; no real patient. */
const BEFORE = { ss: 74, pg: 78, is: 83, ii: 74, ms: 53, mi: 51 };
const AFTER = { ss: 74.5, pg: 81, is: 82, ii: 78.5, ms: 52, mi: 55 };

const sumOf = ({ upperJaw, lowerJaw, upperTeeth, lowerTeeth }: CorrectionParts): number =>
  upperJaw + lowerJaw + upperTeeth + lowerTeeth;

const distance = fc.double({ min: 20, max: 120, noNaN: true });
const points = fc.record({
  ss: distance,
  pg: distance,
  is: distance,
  ii: distance,
  ms: distance,
  mi: distance,
});

describe('the sagittal-occlusal split', () => {
  it('gives the constructed example: 5.5 mm of overjet, 2.5 skeletal and 1.5 in each row of teeth', () => {
    const parts = splitOverjet(BEFORE, AFTER);
    expect(parts).toEqual({ whole: 5.5, upperJaw: -0.5, lowerJaw: 3, upperTeeth: 1.5, lowerTeeth: 1.5 });
    expect((parts.upperJaw + parts.lowerJaw) / parts.whole).toBeCloseTo(0.4545, 4);
  });

  it('gives the constructed example: 5 mm of molar correction, half of it skeletal', () => {
    const parts = splitMolarRelation(BEFORE, AFTER);
    expect(parts).toEqual({ whole: 5, upperJaw: -0.5, lowerJaw: 3, upperTeeth: 1.5, lowerTeeth: 1 });
    expect((parts.upperJaw + parts.lowerJaw) / parts.whole).toBe(0.5);
  });

  it('sums to the whole, whatever moved', () => {
    fc.assert(
      fc.property(points, points, (before, after) => {
        for (const parts of [splitOverjet(before, after), splitMolarRelation(before, after)]) {
          expect(sumOf(parts)).toBeCloseTo(parts.whole, 9);
        }
      }),
    );
  });
});

const reading = fc
  .tuple(
    fc.double({ min: 90, max: 130, noNaN: true }),
    fc.double({ min: 0.5, max: 0.95, noNaN: true }),
    fc.double({ min: 2, max: 18, noNaN: true }),
  )
  .map(([length, cosine, hinge]) => ({ length, hinge, chin: length * cosine - hinge }));

describe('the split of chin position', () => {
  it('sums to the whole, whatever carried the chin', () => {
    fc.assert(
      fc.property(reading, reading, (before, after) => {
        const parts = splitChinPosition(before, after);
        if (parts === null) throw new Error('no triangle');
        expect(parts.hinge + parts.length + parts.rotation).toBeCloseTo(parts.whole, 9);
      }),
    );
  });

  it('moves the chin by about 1.1 mm a degree at 63 mm below the condyle (common practice, no source)', () => {
    const length = 105;
    const at = (theta: number) => ({ length, hinge: 9, chin: length * Math.cos(theta) - 9 });
    const theta = Math.asin(63 / length);
    const half = (0.5 * Math.PI) / 180;
    const parts = splitChinPosition(at(theta + half), at(theta - half));
    expect(parts?.degrees).toBeCloseTo(1, 9);
    expect(parts?.rotation).toBeCloseTo((63 * Math.PI) / 180, 4);
    expect(parts?.rotation).toBeCloseTo(1.1, 2);
  });

  it('takes a jaw that only grew longer for length alone, and one that only moved for the hinge alone', () => {
    const before = { length: 100, hinge: 8, chin: 72 };
    const longer = splitChinPosition(before, { length: 105, hinge: 8, chin: 76 });
    expect(longer?.length).toBeCloseTo(4, 9);
    expect(longer?.rotation).toBeCloseTo(0, 9);
    const moved = splitChinPosition(before, { length: 100, hinge: 6, chin: 74 });
    expect(moved?.hinge).toBeCloseTo(2, 9);
    expect(moved?.rotation).toBeCloseTo(0, 9);
  });

  it('refuses a chin further ahead of the condyle than the jaw is long', () => {
    expect(
      splitChinPosition({ length: 80, hinge: 10, chin: 75 }, { length: 110, hinge: 10, chin: 75 }),
    ).toBeNull();
  });
});

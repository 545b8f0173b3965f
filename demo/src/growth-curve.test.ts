import { describe, expect, it } from 'vitest';
import { growthSince8, growthVelocity } from './index';
import { GROWTH_CURVE } from './parameters';

describe('the invented growth curve', () => {
  it('is the integral of its velocity', () => {
    for (const sex of ['female', 'male'] as const) {
      const steps = 20_000;
      let sum = 0;
      for (let i = 0; i < steps; i++) sum += (growthVelocity(sex, 8 + (12 * (i + 0.5)) / steps) * 12) / steps;
      expect(growthSince8(sex, 20)).toBeCloseTo(sum, 6);
    }
  });

  it('stays within 2 mm of widely reprinted mean mandibular lengths', () => {
    /* Harvold standards (Burlington), reprinted in Proffit, Contemporary Orthodontics; from memory. Temporomandibular
       point to prognathion: near to, not the same as, condylion to gnathion. */
    const printed = {
      male: { 9: 107, 12: 114, 14: 121, 16: 127 },
      female: { 9: 105, 12: 113, 14: 117, 16: 119 },
    } as const;
    for (const sex of ['female', 'male'] as const) {
      for (const [age, size] of Object.entries(printed[sex])) {
        expect(Math.abs(GROWTH_CURVE[sex].sizeAt8 + growthSince8(sex, Number(age)) - size)).toBeLessThan(2);
      }
    }
  });

  it('peaks near 12 years in girls and 14 in boys, and has nearly ended at 20', () => {
    /* Peak height velocity near 12.0 and 14.0 years (Hagg and Taranger 1982; from memory). */
    for (const [sex, peak] of [
      ['female', 12],
      ['male', 14],
    ] as const) {
      const ages = Array.from({ length: 121 }, (_, i) => 8 + i / 10);
      const fastest = ages.reduce((best, age) =>
        growthVelocity(sex, age) > growthVelocity(sex, best) ? age : best,
      );
      expect(Math.abs(fastest - peak)).toBeLessThan(0.5);
      expect(growthVelocity(sex, 20)).toBeLessThan(0.1);
    }
  });
});

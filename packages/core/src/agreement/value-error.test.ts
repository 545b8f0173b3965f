import { expect, it } from 'vitest';
import { createRandom } from '../numeric';
import { READ_ONCE, valueErrorVariance } from './value-error';

const error = { film: 0.8, retracing: 0.3 };

it('two retracings of one film halve the retracing part and leave the film in full', () => {
  expect(valueErrorVariance(error, READ_ONCE)).toBeCloseTo(1.1, 12);
  expect(valueErrorVariance(error, { films: 1, retracingShare: 1 / 2 })).toBeCloseTo(0.8 + 0.15, 12);
  expect(valueErrorVariance(error, { films: 2, retracingShare: 1 / 2 })).toBeCloseTo(0.4 + 0.15, 12);
});

it('the variance claimed for a mean of films read unequally often is the one that draws show', () => {
  const random = createRandom(11);
  const draws = Array.from({ length: 200_000 }, () => {
    const film = (readings: number): number => {
      const own = Math.sqrt(error.film) * random.normal();
      let sum = 0;
      for (let i = 0; i < readings; i++) sum += own + Math.sqrt(error.retracing) * random.normal();
      return sum / readings;
    };
    return (film(1) + film(3)) / 2;
  });
  const variance = draws.reduce((sum, value) => sum + value ** 2, 0) / draws.length;
  const claimed = valueErrorVariance(error, { films: 2, retracingShare: (1 + 1 / 3) / 4 });
  expect(Math.abs(variance / claimed - 1)).toBeLessThan(0.015);
});

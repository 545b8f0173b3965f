import { describe, expect, it } from 'vitest';
import { createRandom, designMatrix, isRefusal } from '../../numeric';
import { errorDistribution, type TimeDistribution } from './error-distributions';
import { concaveLikelihood, likelihoodInCoefficients, type TimeRegressionData } from './time-likelihood';

const DISTRIBUTIONS: readonly TimeDistribution[] = ['weibull', 'log-logistic', 'log-normal'];

/** Exact, left-, right- and interval-censored times with weights and one covariate. */
function data(): TimeRegressionData {
  const random = createRandom(8);
  const size = 24;
  const x = Array.from({ length: size }, () => random.normal());
  const design = designMatrix([{ kind: 'numeric', name: 'x', values: x }], size, { intercept: true });
  if (isRefusal(design)) throw new Error(design.message);
  const time = x.map((value) => Math.exp(1 + 0.4 * value + 0.7 * random.normal()));
  return {
    logLeft: Float64Array.from(time, (t, i) => Math.log([t, 0, t * 0.7, t * 0.6][i % 4] ?? NaN)),
    logRight: Float64Array.from(time, (t, i) => Math.log([t, t * 1.3, Infinity, t * 1.5][i % 4] ?? NaN)),
    weight: Float64Array.from(time, (_, i) => 1 + (i % 3)),
    design,
  };
}

function expectDerivatives(
  at: (parameters: Float64Array) => { value: number; gradient: Float64Array; information: Float64Array },
  parameters: Float64Array,
): void {
  const h = 1e-5;
  const here = at(parameters);
  parameters.forEach((_, j) => {
    const shifted = (step: number): ReturnType<typeof at> =>
      at(parameters.map((value, k) => (k === j ? value + step : value)));
    const [up, down] = [shifted(h), shifted(-h)];
    expect(here.gradient[j]).toBeCloseTo((up.value - down.value) / (2 * h), 5);
    parameters.forEach((__, k) => {
      const second = -((up.gradient[k] ?? NaN) - (down.gradient[k] ?? NaN)) / (2 * h);
      expect(here.information[j * parameters.length + k]).toBeCloseTo(second, 4);
    });
  });
}

describe.each(DISTRIBUTIONS)('the likelihood of %s times', (distribution) => {
  const error = errorDistribution(distribution);

  it('has the derivatives that differences give, in the concave parameters', () => {
    const at = (parameters: Float64Array): ReturnType<typeof concaveLikelihood> =>
      concaveLikelihood(data(), error, parameters, false);
    expectDerivatives(at, Float64Array.of(1.2, 0.3, 1.4));
  });

  it('has the derivatives that differences give, in beta and log sigma', () => {
    const at = (p: Float64Array): ReturnType<typeof likelihoodInCoefficients> =>
      likelihoodInCoefficients(data(), error, p.slice(0, 2), Math.exp(p[2] ?? 0), false);
    expectDerivatives(at, Float64Array.of(0.9, 0.3, -0.2));
  });

  it('is the same number in both, and its scores add up to its gradient', () => {
    const [beta0, beta1, scale] = [0.9, 0.3, 0.8];
    const inBeta = likelihoodInCoefficients(data(), error, Float64Array.of(beta0, beta1), scale, false);
    const concave = concaveLikelihood(
      data(),
      error,
      Float64Array.of(beta0 / scale, beta1 / scale, 1 / scale),
      false,
    );
    expect(inBeta.value).toBeCloseTo(concave.value, 10);
    inBeta.gradient.forEach((slope, j) => {
      expect(inBeta.scores.reduce((sum, value, k) => (k % 3 === j ? sum + value : sum), 0)).toBeCloseTo(
        slope,
        10,
      );
    });
  });
});

describe('error distributions in their far tails', () => {
  // R: pnorm(c(9, 20, 40, 1e3), lower = FALSE, log = TRUE)
  it.each([
    [9, -43.628149113332114],
    [20, -203.9171553710973],
    [40, -804.6084420137538],
    [1000, -500007.8266948122],
  ])('log S(%d) of the normal distribution is %d', (z, expected) => {
    const normal = errorDistribution('log-normal');
    expect(normal.logSurvival(z) / expected).toBeCloseTo(1, 12);
    expect(normal.logCumulative(-z) / expected).toBeCloseTo(1, 12);
  });

  it.each(DISTRIBUTIONS)(
    '%s: what lies between two ends has its digits on both sides, wide or narrow',
    (name) => {
      const error = errorDistribution(name);
      for (const low of [-30, -3, -0.4, 0.2, 2, 5]) {
        for (const width of [1e-7, 1e-3, 0.5, 3]) {
          const between = error.logBetween(low, low + width, width);
          expect(Number.isFinite(between)).toBe(true);
          // Two halves make the whole.
          const half = width / 2;
          const halves = [low, low + half].map((from) => error.logBetween(from, from + half, half));
          const sum = halves.reduce((total, part) => total + Math.exp(part - between), 0);
          expect(sum, `${low} + ${width}`).toBeCloseTo(1, 7);
        }
      }
    },
  );

  it.each(DISTRIBUTIONS)('%s: its quantile undoes its distribution function', (name) => {
    const error = errorDistribution(name);
    for (const p of [1e-8, 0.1, 0.5, 0.9, 0.999]) {
      expect(Math.exp(error.logCumulative(error.quantile(p))) / p).toBeCloseTo(1, 9);
    }
  });
});

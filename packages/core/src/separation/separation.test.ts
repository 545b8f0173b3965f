import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createRandom, isRefusal, mean, sampleVariance } from '../numeric';
import { diagnose } from './diagnosis';
import { fitFadingPart } from './fading-part';
import { fitGrowthClock } from './growth-clock';
import { leaveOnePatientOut } from './influence';
import { lastingShare, type LastingShare } from './lasting-share';
import { patientInformation, regressorSums, type VarianceComponents } from './patient-information';
import { fitTwoParts, type PartEstimate } from './two-part-model';
import { totalInformation, worthOfRecall } from './worth-of-recall';

/** Invented gains: T = 2.5 and S = 0.8 with spread, velocity falling with time. */
function invented(patients: number, visits = 5, seed = 3) {
  const random = createRandom(seed);
  const columns = {
    patient: [] as string[],
    gain: [] as number[],
    velocity: [] as number[],
    time: [] as number[],
  };
  for (let i = 0; i < patients; i++) {
    const lasting = 2.5 + random.normal();
    const forward = 0.8 + 0.3 * random.normal();
    const growth = 2.5 + 0.6 * random.normal();
    for (let time = 0; time < visits; time++) {
      const velocity = Math.max(0, growth - 0.5 * time);
      columns.patient.push(`P${i}`);
      columns.velocity.push(velocity);
      columns.time.push(time);
      columns.gain.push(lasting + forward * velocity + 0.6 * random.normal());
    }
  }
  return { ...columns, curve: null };
}

describe('lasting gain and growth brought forward', () => {
  it('are found again within their intervals', () => {
    const fit = fitGrowthClock(invented(200));
    if (isRefusal(fit)) throw new Error(fit.message);
    expect(fit.lasting.lower).toBeLessThan(2.5);
    expect(fit.lasting.upper).toBeGreaterThan(2.5);
    expect(fit.passing.lower).toBeLessThan(0.8);
    expect(fit.passing.upper).toBeGreaterThan(0.8);
  });

  it('are unbiased although every child grows at a rate of its own', () => {
    const found = Array.from({ length: 200 }, (_, seed) => {
      const series = invented(40, 5, 100 + seed);
      const random = createRandom(5000 + seed);
      let rate = 0;
      const gain = series.gain.map((value, i) => {
        if (series.time[i] === 0) rate = 0.2 * random.normal();
        return value + rate * (0.85 + (series.time[i] ?? NaN));
      });
      const fit = fitGrowthClock({ ...series, gain });
      if (isRefusal(fit)) throw new Error(fit.message);
      return [fit.lasting.estimate, fit.passing.estimate] as const;
    });
    for (const [part, truth] of [
      [0, 2.5],
      [1, 0.8],
    ] as const) {
      const values = found.map((one) => one[part]);
      expect(Math.abs(mean(values) - truth)).toBeLessThan(
        3 * Math.sqrt(sampleVariance(values) / values.length),
      );
    }
  });

  it('do not depend on the order of the rows', () => {
    const series = invented(20);
    const order = series.gain.map((_, i) => i).sort((a, b) => ((a * 7919) % 100) - ((b * 7919) % 100));
    const shuffled = {
      patient: order.map((i) => series.patient[i] ?? ''),
      gain: order.map((i) => series.gain[i] ?? NaN),
      velocity: order.map((i) => series.velocity[i] ?? NaN),
      curve: null,
    };
    const [a, b] = [fitGrowthClock(series), fitGrowthClock(shuffled)];
    if (isRefusal(a) || isRefusal(b)) throw new Error('refused');
    expect(b.lasting.estimate).toBeCloseTo(a.lasting.estimate, 7);
    expect(b.passing.standardError).toBeCloseTo(a.passing.standardError, 7);
  });

  it.each([
    ['nobody', { patient: [], gain: [], velocity: [], curve: null }, /could be followed: 0;/],
    ['five patients', invented(5), /could be followed: 5;/],
    ['nobody seen twice', invented(30, 1), /told apart: 0;/],
    [
      'a measure that does not grow',
      { ...invented(10), velocity: invented(10).velocity.map(() => 0) },
      /does not grow/,
    ],
  ])('are refused with %s', (_, series, message) => {
    const fit = fitGrowthClock(series);
    expect(isRefusal(fit) && fit.message).toMatch(message);
  });

  it.each([[-1], [NaN], [Infinity]])('refuse a time of %d years', (time) => {
    const series = invented(10);
    series.time[3] = time;
    const fit = fitFadingPart(series);
    expect(isRefusal(fit) && fit.message).toContain('time, entry 4');
  });

  it('say that the data do not fix how fast a gain fades that does not fade', () => {
    const series = invented(40);
    const random = createRandom(5);
    const fit = fitFadingPart({
      ...series,
      gain: series.patient.map((code) => code.length + random.normal()),
    });
    if (isRefusal(fit)) throw new Error(fit.message);
    expect(fit.tauAtEdge !== null || fit.tauLower === null || fit.tauUpper === null).toBe(true);
  });

  it('give no NaN where every patient has the same course', () => {
    const series = invented(12);
    const flat = { ...series, gain: series.velocity.map((velocity, i) => 2 + velocity + (i % 3) * 0.1) };
    const fit = fitGrowthClock(flat);
    if (isRefusal(fit)) return expect(fit.message).not.toBe('');
    for (const value of [fit.lasting.estimate, fit.lasting.standardError, fit.passing.p, fit.aic]) {
      expect(Number.isFinite(value)).toBe(true);
    }
  });

  it('change by leaving one patient out as a fit without that patient does, but for the variances', () => {
    const series = invented(60);
    const fit = fitTwoParts(series, series.velocity, 0.95);
    if (isRefusal(fit)) throw new Error(fit.message);
    const [first] = leaveOnePatientOut(series, series.velocity, fit);
    const keep = (_: unknown, i: number): boolean => series.patient[i] !== 'P0';
    const without = fitTwoParts(
      { patient: series.patient.filter(keep), gain: series.gain.filter(keep) },
      series.velocity.filter(keep),
      0.95,
    );
    if (isRefusal(without) || first === undefined) throw new Error('refused');
    expect(first.patient).toBe('P0');
    expect(Math.abs(first.lasting - without.lasting.estimate)).toBeLessThan(0.05 * fit.lasting.standardError);
  });
});

const variance = fc.double({ min: 0.01, max: 10, noNaN: true });
const componentsOf = fc
  .tuple(variance, variance, fc.double({ min: -0.99, max: 0.99, noNaN: true }), variance)
  .map(([lasting, passing, correlation, residualVariance]): VarianceComponents => ({
    betweenPatients: { lasting, passing, both: correlation * Math.sqrt(lasting * passing) },
    residualVariance,
  }));
const regressors = fc.array(fc.double({ min: 0, max: 4, noNaN: true }), { minLength: 1, maxLength: 6 });
const group = fc.array(regressors, { minLength: 3, maxLength: 12 });

describe('the worth of a recall', () => {
  const spread = [
    [0.2, 2.9],
    [1.1, 2.2],
    [0.4, 3.3],
  ];

  it('is never below zero, and two visits never teach less than one', () => {
    fc.assert(
      fc.property(group, regressors, componentsOf, (others, own, components) => {
        const sums = [...spread, ...others, own].map((values) => regressorSums(values));
        const mine = regressorSums(own);
        const total = totalInformation(sums, components);
        const one = worthOfRecall(total, mine, 0.1, components);
        if (one === null) throw new Error('not estimable');
        expect(one.standardErrorThen).toBeLessThanOrEqual(one.standardErrorNow * (1 + 1e-9));
        const longer = regressorSums([...own, 0.1]);
        const grown = totalInformation([...sums.slice(0, -1), longer], components);
        const two = worthOfRecall(grown, longer, 0.1, components);
        if (two === null) throw new Error('not estimable');
        expect(two.standardErrorThen).toBeLessThanOrEqual(one.standardErrorThen * (1 + 1e-9));
      }),
    );
  });

  it('is next to nothing where readings are hopeless', () => {
    const components = { betweenPatients: { lasting: 1, both: 0, passing: 1 }, residualVariance: 1e9 };
    const known = { betweenPatients: { lasting: 1, both: 0, passing: 1 }, residualVariance: 0.5 };
    const own = regressorSums([2, 1]);
    const total = totalInformation(
      spread.map((values) => regressorSums(values)),
      known,
    );
    const before = patientInformation(own, components);
    const after = patientInformation(regressorSums([2, 1, 0]), components);
    expect(after.lasting - before.lasting).toBeLessThan(1e-8);
    expect(worthOfRecall(total, regressorSums([]), 2, components)?.fall).toBeLessThan(1e-6);
  });
});

function part(estimate: number, reach: number): PartEstimate {
  const limits = { lower: estimate - reach, upper: estimate + reach };
  return { name: '', estimate, standardError: reach / 2, df: null, t: 0, p: 0, ...limits };
}

function share(estimate: number, lower: number, upper: number, gain = 4): LastingShare {
  const limits = { lower: gain - 0.6, upper: gain + 0.6 };
  const gainAtEnd = { estimate: gain, standardError: 0.3, withLasting: 0, limits };
  return { gainAtEnd, estimate, interval: { kind: 'bounded', lower, upper }, df: null };
}

describe('the reading of a separation', () => {
  it.each([
    ['lasting', part(3.8, 0.4), part(0.1, 0.2), share(0.95, 0.85, 1.05)],
    ['lasting-shown', part(3, 1.5), part(0.5, 0.8), share(0.75, 0.4, 1.1)],
    ['both', part(2, 0.6), part(0.9, 0.3), share(0.5, 0.35, 0.65)],
    ['brought-forward', part(0.2, 0.5), part(1.6, 0.4), share(0.05, -0.1, 0.2)],
    ['forward-shown', part(0.8, 1.2), part(1.2, 0.9), share(0.2, -0.1, 0.5)],
    ['cannot-tell', part(2, 3), part(1, 1.6), share(0.5, -0.4, 1.3)],
    ['no-gain', part(2, 0.5), part(-0.8, 0.3), share(4, 1, 9, 0.4)],
  ])('is %s', (diagnosis, lasting, passing, shareOfIt) => {
    expect(diagnose({ lasting, passing }, shareOfIt)).toBe(diagnosis);
  });

  it('never calls a part absent because it was not shown', () => {
    const wide = { ...share(0.9, 0.5, 1.2), interval: { kind: 'whole-line' as const } };
    expect(diagnose({ lasting: part(3, 1), passing: part(0.1, 3) }, wide)).toBe('lasting-shown');
  });

  it('takes the lasting share of a gain with its Fieller set', () => {
    const covariance = { lasting: 0.04, both: -0.01, passing: 0.01 };
    const result = lastingShare({ lasting: part(2, 0.4), passing: part(1, 0.2), covariance }, 2, 0.95);
    expect(result.estimate).toBeCloseTo(0.5, 12);
    expect(result.gainAtEnd.standardError).toBeCloseTo(Math.sqrt(0.04 - 0.04 + 0.04), 12);
  });
});

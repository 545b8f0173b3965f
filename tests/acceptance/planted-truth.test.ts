import { answerOutcome, type OutcomeAnswer } from '@longhold/core/answers';
import { ratioIsIn } from '@longhold/core/ratio';
import { generateDemo, type Demo } from '@longhold/demo';
import { beforeAll, describe, expect, it } from 'vitest';
import { coverageCounter, leastCoverage } from './coverage';

// The demo plants its parameters (docs/demo.md); whole studies are drawn from many seeds, each with its own
// untreated series from which expected growth has to be learnt.
const STUDIES = 100;
const PATIENTS = 120;
const counter = coverageCounter();
const widths: number[] = [];

beforeAll(() => {
  for (let seed = 1; seed <= STUDIES; seed++) {
    const demo = generateDemo({ seed, patients: PATIENTS });
    const answer = answerOutcome(demo.study, { measure: 'Co-Gn', resamples: 50 });
    compareGroup(demo, answer);
    comparePatients(demo, answer);
    compareError(demo, answer);
  }
}, 120_000);

function compareGroup({ truth }: Demo, answer: OutcomeAnswer): void {
  const expected = truth.expected.overall;
  if (answer.gain !== null) counter.note('mean gain', within(answer.gain.limits, expected.meanGainAtEnd));
  for (const { year, share } of expected.retained) {
    const found = answer.retained.find((row) => row.year === year);
    if (found?.share == null) continue;
    counter.note(`retained share at ${year} years`, ratioIsIn(found.share.interval, share));
    const above = answer.above.find((row) => row.year === year)?.corrected;
    const standing = expected.survival.adjustedGain.find((point) => point.year === year)?.survival;
    if (above != null && standing !== undefined) {
      counter.note(`share above the threshold at ${year} years`, within(above.limits, standing));
    }
    if (year === 2 && found.share.interval.kind === 'bounded') {
      widths.push(found.share.interval.upper - found.share.interval.lower);
    }
  }
}

function comparePatients({ truth }: Demo, answer: OutcomeAnswer): void {
  const planted = new Map(truth.patients.map((patient) => [patient.code, patient]));
  for (const { code, gain } of answer.patients) {
    const patient = planted.get(code);
    if (gain !== null && patient?.gainAtEnd != null)
      counter.note('gain of one patient', within(gain.limits, patient.gainAtEnd));
  }
}

function compareError({ truth }: Demo, answer: OutcomeAnswer): void {
  const limits = answer.methodError.duplicates?.dahlbergLimits;
  // Values are rounded to 0.1, which adds the variance of a uniform error of that width.
  const planted = Math.hypot(truth.retracingSd['Co-Gn'], 0.1 / Math.sqrt(12));
  if (limits !== undefined) counter.note('method error', within(limits, planted));
}

function within({ lower, upper }: { lower: number; upper: number }, value: number): boolean {
  return lower <= value && value <= upper;
}

describe('over a hundred invented studies the intervals cover the planted truth as often as they claim', () => {
  it.each([
    'mean gain',
    'retained share at 1 years',
    'retained share at 2 years',
    'retained share at 3 years',
    'retained share at 4 years',
    'retained share at 5 years',
    'share above the threshold at 2 years',
    'share above the threshold at 3 years',
    'share above the threshold at 5 years',
    'method error',
    'gain of one patient',
  ])('%s', (name) => {
    const row = counter.rows().find((candidate) => candidate.name === name);
    if (row === undefined) throw new Error(`nothing counted for ${name}`);
    expect(row.asked).toBeGreaterThanOrEqual(STUDIES * 0.9);
    expect(row.coverage).toBeGreaterThanOrEqual(leastCoverage(0.95, STUDIES));
  });

  it('and at one year, where true margins are skew and taken to be normal, somewhat less often', () => {
    const row = counter.rows().find(({ name }) => name === 'share above the threshold at 1 years');
    expect(row?.coverage).toBeGreaterThanOrEqual(leastCoverage(0.87, STUDIES));
  });

  it('without being so wide that they say nothing: at two years the share is known to a third', () => {
    const median = [...widths].sort((a, b) => a - b)[Math.floor(widths.length / 2)];
    expect(median).toBeLessThan(0.35);
  });
});

import { curveCovariance, referenceDeviations } from '../growth';
import { createRandom, isRefusal, mean, sortedQuantile } from '../numeric';
import { bootstrapRatio } from '../ratio';
import {
  contrastRow,
  estimateContrast,
  groupGain,
  groupShare,
  meanRow,
  shareAboveThreshold,
  type Contrast,
  type GainPair,
  type Limits,
  type Yardstick,
} from '../retention';
import type { AboveThresholdYear, ChangeYear, RetainedYear } from './answer';
import { DOUBT_STREAM } from './drawn-losses';
import { inWindow, MOST_YEARS } from './flow';
import type { PatientContrasts } from './patient-outcome';
import type { OutcomeQuestion } from './question';

type Visit = PatientContrasts['later'][number];
type SeenPatient = Pick<PatientContrasts, 'code' | 'sex' | 'first'> & { readonly visit: Visit };

/** Retained share of those seen in each year's window, up to the last year in which anyone was. */
export function retainedYears(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  question: Pick<OutcomeQuestion, 'level' | 'resamples' | 'seed'>,
): RetainedYear[] {
  return yearsOf(patients, (seen, year) => {
    const pairs = seen.map(({ sex, first, visit }) => ({ sex, first, later: visit.gain }));
    return {
      year,
      ...groupShare(pairs, yardstick, question.level),
      bootstrap: bootstrapLimits(pairs, yardstick, question),
    };
  });
}

function bootstrapLimits(
  pairs: readonly GainPair[],
  yardstick: Yardstick,
  { level, resamples, seed }: Pick<OutcomeQuestion, 'level' | 'resamples' | 'seed'>,
): Limits | null {
  const gains = (which: 'first' | 'later'): number[] =>
    pairs.map((pair) => estimateContrast(pair[which], pair.sex, yardstick).estimate);
  const drawn = bootstrapRatio(
    { numerator: gains('later'), denominator: gains('first') },
    { level, seed, replicates: Math.max(100, resamples) },
  );
  if (isRefusal(drawn) || drawn.signChanges > 0) return null;
  const { lower, upper } = drawn.accelerated ?? drawn.percentile;
  return withReference({ lower, upper }, pairs, yardstick, { level, resamples, seed });
}

/**
 * Limits of a share put together, by squares, with how far it moves under drawn errors of the growth reference, which all
 * patients share. Null where such an error could turn the sign of the mean gain, so that the share has no limits.
 */
function withReference(
  { lower, upper }: Limits,
  pairs: readonly GainPair[],
  yardstick: Yardstick,
  { level, resamples, seed }: Pick<OutcomeQuestion, 'level' | 'resamples' | 'seed'>,
): Limits | null {
  const deviation = referenceDeviations(yardstick.reference);
  if (deviation === null) return { lower, upper };
  const means = (which: 'first' | 'later') => {
    const estimates = pairs.map((pair) => estimateContrast(pair[which], pair.sex, yardstick).estimate);
    const row = meanRow(pairs.map((pair) => contrastRow(pair[which], pair.sex, yardstick)));
    return { mean: mean(estimates), row: row.map((value) => -yardstick.direction * value) };
  };
  const [first, later] = [means('first'), means('later')];
  const random = createRandom(seed ^ DOUBT_STREAM);
  const shares = Float64Array.from({ length: Math.max(100, resamples) }, () => {
    const delta = deviation(random);
    const moved = ({ mean: at, row }: typeof first): number =>
      row.reduce((sum, value, i) => sum + value * (delta[i] ?? NaN), at);
    const below = moved(first);
    return below * first.mean > 0 ? moved(later) / below : NaN;
  });
  if (shares.some(Number.isNaN)) return null;
  shares.sort();
  const estimate = later.mean / first.mean;
  const tail = (1 - level) / 2;
  return {
    lower: estimate - Math.hypot(estimate - lower, Math.max(0, estimate - sortedQuantile(shares, tail))),
    upper: estimate + Math.hypot(upper - estimate, Math.max(0, sortedQuantile(shares, 1 - tail) - estimate)),
  };
}

/**
 * How fast the adjusted gain changes: in patients seen in two windows that follow each other (the end of active
 * treatment is window 0), the difference of the two gains over the time between the two visits; mean and t interval with
 * the growth curve's uncertainty. Windows that fewer than two patients share are left out.
 */
export function changesPerYear(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  level: number,
): ChangeYear[] {
  return Array.from({ length: MOST_YEARS }, (_, from) => from).flatMap((from) => {
    const rates = patients.flatMap((patient) => {
      const before = from === 0 ? { years: 0, gain: patient.first } : visitIn(patient, from);
      const after = visitIn(patient, from + 1);
      if (before === undefined || after === undefined || after.years - before.years < LEAST_SPAN) return [];
      return [{ sex: patient.sex, contrast: rateContrast(before, after) }];
    });
    const change = groupGain(rates, yardstick, level);
    return change === null ? [] : [{ from, to: from + 1, ...change }];
  });
}

/** Two visits closer than this, in years, make error look like a rate. */
const LEAST_SPAN = 0.5;

interface TimedGain {
  readonly years: number;
  readonly gain: Contrast;
}

/** The change between two gains a year; the start value falls out. */
function rateContrast(before: TimedGain, after: TimedGain): Contrast {
  const span = after.years - before.years;
  const scaled = (gain: Contrast, sign: 1 | -1): Contrast =>
    gain.slice(0, 1).map(({ point, weight }) => ({ point, weight: (sign * weight) / span }));
  return [...scaled(after.gain, 1), ...scaled(before.gain, -1)];
}

function visitIn({ later }: PatientContrasts, year: number): Visit | undefined {
  return later
    .filter(({ years }) => inWindow(years, year))
    .sort((a, b) => Math.abs(a.years - year) - Math.abs(b.years - year))[0];
}

/** How many of those seen in each year's window stand above the threshold, with measurement error taken out. */
export function aboveThresholdYears(
  patients: readonly PatientContrasts[],
  yardstick: Yardstick,
  level: number,
): AboveThresholdYear[] {
  return yearsOf(patients, (seen, year) => {
    const row = meanRow(seen.map(({ sex, visit }) => contrastRow(visit.marginContrast, sex, yardstick)));
    const curveVariance = curveCovariance(yardstick.reference, row, row);
    const margins = seen.map(({ visit }) => visit.margin);
    return { year, ...shareAboveThreshold(margins, curveVariance, level) };
  });
}

function yearsOf<Row extends { readonly year: number; readonly n: number }>(
  patients: readonly PatientContrasts[],
  rowOf: (seen: readonly SeenPatient[], year: number) => Row,
): Row[] {
  const rows = Array.from({ length: MOST_YEARS }, (_, i) => rowOf(seenInYear(patients, i + 1), i + 1));
  const last = rows.reduce((latest, { year, n }) => (n > 0 ? year : latest), 0);
  return rows.slice(0, last);
}

/** Who was seen in a year's window; of a patient's visits in it the one nearest to the anniversary is used. */
export function seenInYear(patients: readonly PatientContrasts[], year: number): SeenPatient[] {
  return patients.flatMap((patient) => {
    const visit = visitIn(patient, year);
    return visit === undefined ? [] : [{ code: patient.code, sex: patient.sex, first: patient.first, visit }];
  });
}

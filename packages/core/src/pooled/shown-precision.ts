import { isRefusal, type Refusal } from '../numeric';
import type { Limits } from '../pooling';
import type { RatioInterval } from '../ratio';
import type { ProbabilityReading } from '../survival';
import type { ClockSpread } from './pooled-separation';
import type { QuantityKind, ShownCount, ViewedMean, ViewedStage, ViewedTest } from './view';

/*
 * How exactly members who do not see the centres are told the pool's numbers. Many digits of a share and of its limits
 * give the number of patients and of losses behind it; the spread between few centres gives a centre what the others sent.
 * So they are told what is printed and no more.
 */

/** Fewer centres than this leave the spread between them hardly known, and tell each what the others sent. */
export const FEW_CENTRES = 5;

/** Steps in which values are told: whole percents, tenths of a millimetre or a degree, tenths of a year. */
const STEPS: Readonly<Record<QuantityKind, number>> = {
  'retained-share': 0.01,
  survival: 0.01,
  lasting: 0.1,
  forward: 0.1,
  'lasting-share': 0.01,
};

/** A number of patients in steps; null stays withheld. */
export function steppedCount(count: ShownCount, step: number): ShownCount {
  return count === null ? null : Math.round(count / step) * step;
}

/** A value in steps; a value that is no number stays as it is. */
export function stepped(value: number, step: number): number {
  // Dividing by a whole number gives the double that is nearest to what is printed.
  const steps = Math.round(1 / step);
  return Math.round(value * steps) / steps;
}

/** A value with so many significant digits. */
export function significant(value: number, digits: number): number {
  return Number(value.toPrecision(digits));
}

/** Limits in steps. */
function steppedLimits({ lower, upper }: Limits, step: number): Limits {
  return { lower: stepped(lower, step), upper: stepped(upper, step) };
}

function steppedInterval(interval: RatioInterval, step: number): RatioInterval {
  switch (interval.kind) {
    case 'bounded':
    case 'unbounded':
      return { kind: interval.kind, ...steppedLimits(interval, step) };
    case 'at-least':
      return { kind: 'at-least', lower: stepped(interval.lower, step) };
    case 'at-most':
      return { kind: 'at-most', upper: stepped(interval.upper, step) };
    case 'whole-line':
      return interval;
  }
}

/** A mean over centres as it is told; the spread between fewer than five centres is withheld. */
export function steppedMean(mean: ViewedMean | Refusal, kind: QuantityKind): ViewedMean | Refusal {
  if (isRefusal(mean)) return mean;
  const step = STEPS[kind];
  const spreadShown = mean.centres >= FEW_CENTRES;
  const told = <Value>(value: Value | null, tell: (value: Value) => Value): Value | null =>
    value === null || !spreadShown ? null : tell(value);
  return {
    ...mean,
    estimate: stepped(mean.estimate, step),
    limits: steppedLimits(mean.limits, step),
    p: mean.p === null ? null : significant(mean.p, 1),
    prediction: told(mean.prediction, (limits) => steppedLimits(limits, step)),
    tauSquared: told(mean.tauSquared, (value) => significant(value, 1)),
    tauSquaredLimits: told(mean.tauSquaredLimits, ({ lower, upper }) => ({
      lower: significant(lower, 1),
      upper: significant(upper, 1),
    })),
    iSquared: told(mean.iSquared, (value) => stepped(value, 0.05)),
    q: null,
    qP: told(mean.qP, (value) => significant(value, 1)),
    commonSd: significant(mean.commonSd, 1),
  };
}

/** All patients as one series as it is told. */
export function steppedStage(stage: ViewedStage | Refusal, kind: QuantityKind): ViewedStage | Refusal {
  if (isRefusal(stage)) return stage;
  const step = STEPS[kind];
  return { estimate: stepped(stage.estimate, step), interval: steppedInterval(stage.interval, step) };
}

/** A test as it is told: its p with one digit, its statistic not at all. */
export function steppedTest(test: ViewedTest | Refusal): ViewedTest | Refusal {
  return isRefusal(test) ? test : { ...test, statistic: null, p: significant(test.p, 1) };
}

/** Spread between patients and between centres as it is told; null for fewer than five centres. */
export function steppedSpread(
  spread: ClockSpread | Refusal,
  centres: number,
  step: number,
): ClockSpread | Refusal | null {
  if (isRefusal(spread)) return spread;
  if (centres < FEW_CENTRES) return null;
  const parts = ({ lasting, forward }: ClockSpread['patients']): ClockSpread['patients'] => ({
    lasting: significant(lasting, 2),
    forward: significant(forward, 2),
  });
  return {
    ...spread,
    patients: parts(spread.patients),
    centres: parts(spread.centres),
    residual: significant(spread.residual, 2),
    gains: Math.round(spread.gains / step) * step,
  };
}

/** A probability as it is told. */
export function steppedProbability({ probability, lower, upper }: ProbabilityReading): ProbabilityReading {
  const told = (value: number | null): number | null => (value === null ? null : stepped(value, 0.01));
  return { probability: told(probability), standardError: null, lower: told(lower), upper: told(upper) };
}

/**
 * Between which shares one lies that hangs on too few patients to be told: on a fixed grid of whole percents so wide that
 * at least `smallestCell` of the patients are between its lines.
 *
 * @param share from 0 to 1
 * @param patients behind it, at least 1
 */
export function coarseRange(share: number, patients: number, smallestCell: number): Limits {
  const width = Math.min(100, Math.ceil((100 * smallestCell) / patients));
  // Counted from the full share, so that nobody lost and few lost are told alike.
  const below = Math.floor((100 * (1 - share)) / width + 1e-9) * width;
  return { lower: Math.max(0, 100 - below - width) / 100, upper: (100 - below) / 100 };
}

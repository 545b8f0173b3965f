import { READ_ONCE } from '@longhold/core/agreement';
import { describe, it } from 'vitest';
import type { GrowthTable } from '@longhold/core/growth';
import {
  estimateContrast,
  gainContrast,
  retainedShare,
  type CoursePoint,
  type Yardstick,
} from '@longhold/core/retention';
import { expectWithin } from './closeness';
import { printed } from './tolerances';

// Mills and McCulloch, Am J Orthod Dentofacial Orthop 2000;118:24-33, from the abstract. Mandibular length, mm:
// treated +6.5 in 14 months, then +6.0 in 36; untreated +2.3 in 13 months, then +6.7 in 34; from 9 years 1 month.
const START_AGE = 9 + 1 / 12;
const TREATED = { first: { growth: 6.5, months: 14 }, later: { growth: 6.0, months: 36 } };
const UNTREATED = { first: { growth: 2.3, months: 13 }, later: { growth: 6.7, months: 34 } };
/** Neither matters to the estimates; both must be there. */
const START_SIZE = 100;
const ERROR_SD = 0.8;

function pointAfter(months: number, value: number): CoursePoint {
  const ended = months >= TREATED.first.months;
  return {
    kind: months === 0 ? 'start' : months === TREATED.first.months ? 'end_of_active' : 'follow_up',
    date: null,
    age: START_AGE + months / 12,
    growthAge: START_AGE + months / 12,
    clockSd: 0,
    years: ended ? (months - TREATED.first.months) / 12 : null,
    value,
    ...READ_ONCE,
  };
}

const endMonths = TREATED.first.months;
const lastMonths = endMonths + TREATED.later.months;
const start = pointAfter(0, START_SIZE);
const end = pointAfter(endMonths, START_SIZE + TREATED.first.growth);
const now = pointAfter(lastMonths, START_SIZE + TREATED.first.growth + TREATED.later.growth);

/** Expected sizes at the treated children's own ages, from what the untreated grew by the end and afterwards. */
function yardstick(first: number, later: number): Yardstick {
  const sizes = [
    [start.age, START_SIZE],
    [end.age, START_SIZE + first],
    [now.age, START_SIZE + first + later],
  ] as const;
  const reference: GrowthTable = {
    kind: 'built-in-table',
    measure: 'Co-Gn',
    provenance: { kind: 'published', text: 'Mills and McCulloch 2000, untreated children.' },
    sizes: { female: sizes, male: sizes },
    rateSd: 0,
  };
  return { direction: 1, error: { film: 0, retracing: ERROR_SD ** 2 }, reference };
}

function gains(measure: Yardstick): { atEnd: number; later: number; share: number } {
  return {
    atEnd: estimateContrast(gainContrast(start, end), 'female', measure).estimate,
    later: estimateContrast(gainContrast(start, now), 'female', measure).estimate,
    share: retainedShare({ start, end, now }, 'female', measure, 0.95).estimate,
  };
}

describe('retention arithmetic on published group means (Mills and McCulloch 2000)', () => {
  it('keeps 72.8 % when the untreated are given the same time to grow as the treated', () => {
    const matched = yardstick(
      (UNTREATED.first.growth / UNTREATED.first.months) * TREATED.first.months,
      (UNTREATED.later.growth / UNTREATED.later.months) * TREATED.later.months,
    );
    const { atEnd, later, share } = gains(matched);
    expectWithin(atEnd, 4.023, printed(3), 'gain of treatment');
    expectWithin(later, 2.929, printed(3), 'gain three years later');
    expectWithin(share, 0.728, printed(3), 'retained share');
  });

  it('would claim 83.3 % if unequal times were ignored', () => {
    const { atEnd, later, share } = gains(yardstick(UNTREATED.first.growth, UNTREATED.later.growth));
    expectWithin(atEnd, 4.2, 1e-9, 'gain of treatment');
    expectWithin(later, 3.5, 1e-9, 'gain three years later');
    expectWithin(share, 0.833, printed(3), 'retained share');
  });
});

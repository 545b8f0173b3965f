import type { RandomStream } from '@longhold/core/numeric';
import { DAYS_PER_YEAR } from '@longhold/core/records';
import { growthVelocity } from './growth-curve';
import { errorSd } from './measure-model';
import { OWN_RATE_SD, PROTOCOLS, TREATED, type ProtocolCode } from './parameters';
import { drawRecallDelay } from './recall-timing';
import { drawTiming } from './treatment-timing';
import { LOSS_STEP, TRUTH_THRESHOLD } from './treated-truth';

/** Years whose recall is simulated. */
export const RECALL_YEARS = [1, 2, 3, 4, 5, 6] as const;
const LOSS_STEPS = Math.round(5 / LOSS_STEP);
/** Multiplier of a two-sided interval at 95 %. */
const NORMAL_95 = 1.959963984540054;

/** One treated child as the model makes it, before it is known which protocol is used. Deviates are standard normal. */
export interface SimulatedChild {
  readonly velocityAtEnd: number;
  readonly velocityAtRecall: readonly number[];
  /** Velocity at every step of `LOSS_STEP` years after active treatment. */
  readonly velocityAtStep: Float64Array;
  /** Years from start records to end records. */
  readonly yearsToEnd: number;
  readonly lastingDeviate: number;
  readonly forwardDeviate: number;
  readonly ownRate: number;
  readonly errorDeviate: number;
}

/** Draws one child from the distributions that the study itself uses. */
export function simulateChild(random: RandomStream): SimulatedChild {
  const { sex, ageAtStart, activeDays } = drawTiming(random);
  const ageAtEnd = ageAtStart + activeDays / DAYS_PER_YEAR;
  const recordsLag = random.integer(TREATED.endRecordsDays + 1) / DAYS_PER_YEAR;
  const recordsLead = random.integer(TREATED.startRecordsDays + 1) / DAYS_PER_YEAR;
  const velocityAtStep = new Float64Array(LOSS_STEPS);
  for (let step = 0; step < LOSS_STEPS; step++) {
    velocityAtStep[step] = growthVelocity(sex, ageAtEnd + (step + 1) * LOSS_STEP);
  }
  return {
    velocityAtEnd: growthVelocity(sex, ageAtEnd + recordsLag),
    velocityAtRecall: RECALL_YEARS.map((year) =>
      growthVelocity(sex, ageAtEnd + year + drawRecallDelay(random) / DAYS_PER_YEAR),
    ),
    velocityAtStep,
    yearsToEnd: recordsLead + activeDays / DAYS_PER_YEAR + recordsLag,
    lastingDeviate: random.normal(),
    forwardDeviate: random.normal(),
    ownRate: OWN_RATE_SD * random.normal(),
    errorDeviate: random.normal(),
  };
}

/** When a simulated child's gain falls below the threshold under each way of looking at it. */
export interface SimulatedLosses {
  /** Null where A(0) is not above zero, so that there is nothing to lose. */
  readonly gainOfTreatment: LossTime | null;
  readonly adjustedGain: LossTime | null;
  /** Null also where the measured A(0) is not above zero by 1.96 of its SD. */
  readonly adjustedGainMeasurable: LossTime | null;
}
/** Years after active treatment; Infinity when not lost within 5 years. */
export type LossTime = number;

/** Follows one simulated child under one protocol. */
export function simulateLosses(child: SimulatedChild, protocol: ProtocolCode): SimulatedLosses {
  const { lasting, forward } = PROTOCOLS[protocol];
  const t = lasting.mean + lasting.sd * child.lastingDeviate;
  const s = forward.mean + forward.sd * child.forwardDeviate;
  const gain = t + s * child.velocityAtEnd;
  const ownGrowth = child.ownRate * child.yearsToEnd;
  const adjusted = firstLoss(child, gain + ownGrowth, t, s, child.ownRate);
  return {
    gainOfTreatment: firstLoss(child, gain, t, s, 0),
    adjustedGain: adjusted,
    adjustedGainMeasurable: isMeasurable(child, gain + ownGrowth) ? adjusted : null,
  };
}

function firstLoss(
  child: SimulatedChild,
  gainAtEnd: number,
  t: number,
  s: number,
  ownRate: number,
): LossTime | null {
  if (gainAtEnd <= 0) return null;
  const threshold = TRUTH_THRESHOLD * gainAtEnd;
  for (let step = 0; step < LOSS_STEPS; step++) {
    const years = (step + 1) * LOSS_STEP;
    const own = ownRate * (child.yearsToEnd + years);
    if (t + s * (child.velocityAtStep[step] ?? 0) + own < threshold) return years;
  }
  return Infinity;
}

function isMeasurable(child: SimulatedChild, adjustedGain: number): boolean {
  const measurementSd = Math.SQRT2 * errorSd('Co-Gn');
  const sd = Math.hypot(measurementSd, OWN_RATE_SD * child.yearsToEnd);
  return adjustedGain + measurementSd * child.errorDeviate > NORMAL_95 * sd;
}

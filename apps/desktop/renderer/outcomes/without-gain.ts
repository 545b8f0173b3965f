import type { LeftOutReason, OutcomeAnswer } from '@longhold/core/answers';

/** Reasons that keep a patient out of the survival curve, though not out of the group's mean gain. */
const STILL_IN_THE_MEAN: readonly LeftOutReason[] = ['gain-not-measurable', 'gain-below-floor'];

/** Those left out of the group's mean gain at the end of treatment, or of every year after it. */
export function withoutGain(leftOut: OutcomeAnswer['leftOut']): OutcomeAnswer['leftOut'] {
  return leftOut.filter(({ reason }) => !STILL_IN_THE_MEAN.includes(reason));
}

/** How many patients have no gain of treatment that can be computed; who only was not followed has one. */
export function countWithoutGain(leftOut: OutcomeAnswer['leftOut']): number {
  return withoutGain(leftOut)
    .filter(({ reason }) => reason !== 'no-follow-up')
    .reduce((sum, { codes }) => sum + codes.length, 0);
}

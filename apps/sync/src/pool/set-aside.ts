import { centreSheetSchema } from '@longhold/core/contribution';
import type { SetAsideReason } from '@longhold/core/exchange';
import { centreStatisticsSchema } from '@longhold/core/pooled';
import type { CentreTexts } from './compute';
import { ComputationFailed, type ComputationFault } from './computer';
import type { CentreInPool } from './snapshot';

/*
 * Which centre is left out where the pooled answer cannot be computed with all of them, so that none can keep the others
 * from theirs.
 */

/** What is told of it. */
export function reasonOf(fault: ComputationFault): SetAsideReason {
  switch (fault) {
    case 'took-too-long':
      return 'took-too-long';
    case 'ended':
      return 'needs-too-much';
    case 'failed':
    case 'stopped':
      return 'not-computable';
  }
}

/** The sheet of a centre without patients. What fails with such a centre fails whatever is sent. */
export function emptyCentre(): string {
  const none = {
    treated: 0,
    contributed: 0,
    withoutConsent: 0,
    withoutEnd: 0,
    withoutStart: 0,
    withoutAge: 0,
    outsideLimits: 0,
    tooFewAlike: 0,
  };
  return JSON.stringify(centreSheetSchema.parse({ methodErrors: [], flow: none }));
}

/**
 * The centre that costs a pool most time and memory: the one with most distinct loss intervals, since the work on the
 * curve of all patients rises faster than their number.
 *
 * @param kept the centres' texts, in any order
 * @returns null where there is no centre
 */
export async function costliestCentre(
  centres: readonly CentreInPool[],
  kept: AsyncIterable<{ readonly centre: string } & CentreTexts>,
): Promise<CentreInPool | null> {
  let costliest: { readonly centre: string; readonly intervals: number } | null = null;
  for await (const { centre, statistics } of kept) {
    const { measures } = centreStatisticsSchema.parse(JSON.parse(statistics));
    const intervals = Math.max(0, ...measures.map(({ losses }) => losses.length));
    if (costliest === null || intervals > costliest.intervals) costliest = { centre, intervals };
  }
  return centres.find(({ member }) => member === costliest?.centre) ?? null;
}

/** The first centre without which a computation does not fail; null where it fails whoever is left out. */
export async function worksWithoutOne(
  centres: readonly CentreInPool[],
  compute: (rest: readonly CentreInPool[]) => Promise<unknown>,
): Promise<CentreInPool | null> {
  for (const centre of centres) {
    try {
      await compute(centres.filter((other) => other !== centre));
      return centre;
    } catch (thrown) {
      if (!(thrown instanceof ComputationFailed) || thrown.fault === 'stopped') throw thrown;
    }
  }
  return null;
}

import type { RandomStream } from '@longhold/core/numeric';
import { happens } from './draws';
import { RECALL } from './parameters';

/** How many days after (before, when negative) the anniversary a yearly visit takes place. */
export function drawRecallDelay(random: RandomStream): number {
  const jitter = Math.max(-RECALL.earliestDays, RECALL.jitterDays * random.normal());
  const late = happens(random, RECALL.late) ? random.exponential(1 / RECALL.lateMeanDays) : 0;
  return Math.min(RECALL.latestDays, Math.round(jitter + late));
}

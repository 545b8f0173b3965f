import { randomInt } from 'node:crypto';
import type { StudyWriter } from '../store/sync-store';

/** The widest gap before the numbers of one change, exclusive. */
const WIDEST_GAP = 10_000;

/**
 * The first of so many consecutive sequence numbers, after a gap of random width. Every member sees the newest number; a
 * gap keeps it from telling how many patients another centre sent or withdrew.
 */
export async function nextSequence(writer: StudyWriter, wanted: number): Promise<number> {
  if (wanted === 0) return writer.takeSequences(0);
  const gap = randomInt(WIDEST_GAP);
  return (await writer.takeSequences(gap + wanted)) + gap;
}

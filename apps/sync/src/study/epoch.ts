import type { StudyReader } from '../store/sync-store';
import type { Caller } from './caller';
import { Refusal } from './refusal';

/**
 * Held inside the change that stores something: after a restore a number may stand for another study definition than
 * the one under which it was made.
 *
 * @throws Refusal epoch-changed; wrong-input where the request names no epoch
 */
export async function requireEpoch(reader: StudyReader, epoch: Caller['epoch']): Promise<void> {
  if (epoch === null) {
    throw new Refusal('wrong-input', 'Name the epoch that "session" gave in the header longhold-epoch.');
  }
  await requireSameEpoch(reader, epoch);
}

/** The same where naming it is left to the asker. @throws Refusal epoch-changed */
export async function requireSameEpoch(reader: StudyReader, epoch: Caller['epoch']): Promise<void> {
  if (epoch === null || epoch === (await reader.study()).epoch) return;
  throw new Refusal(
    'epoch-changed',
    'The service was restored from a backup since you asked. Ask "session" again, and read the study definition anew.',
  );
}

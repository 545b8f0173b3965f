import type { PoolingMemory } from './pooling-memory';
import { ServiceFault, type ServiceClient } from './service-client';
import { acknowledgedStatistics, questionOf, statisticsRefused } from './statistics-changes';

/** Refusals that the same statistics would meet again and again. Nothing of them is taken there. */
const NEVER_TAKEN: ReadonlySet<ServiceFault['code']> = new Set([
  'mixed-contribution',
  'statistics-conflict',
  'wrong-input',
  'too-large',
]);

/**
 * Sends the statistics that wait and writes the answer down. Sent again after a lost answer they are the same, and the
 * service answers the same.
 *
 * @returns `outdated` where they are of another study definition than the one in force
 * @throws ServiceFault; what is never taken is out of the outbox then
 */
export async function sendStatistics(
  client: ServiceClient,
  {
    memory,
    now,
    stop,
  }: { readonly memory: PoolingMemory; readonly now: () => Date; readonly stop: AbortSignal },
): Promise<'acknowledged' | 'outdated'> {
  const book = await memory.read();
  const waiting = book.statistics.get('waiting');
  if (waiting === undefined) return 'acknowledged';
  try {
    const answer = await client.ask('statistics', questionOf(book, waiting), stop);
    const at = now().toISOString();
    await memory.change((latest) => acknowledgedStatistics(latest, waiting.id, answer, at));
    return 'acknowledged';
  } catch (thrown) {
    if (!(thrown instanceof ServiceFault)) throw thrown;
    if (thrown.code === 'definition-outdated') return 'outdated';
    if (NEVER_TAKEN.has(thrown.code)) await memory.change((latest) => statisticsRefused(latest, waiting.id));
    throw thrown;
  }
}

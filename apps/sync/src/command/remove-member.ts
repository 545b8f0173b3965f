import { roleSchema } from '@longhold/core/exchange';
import type { RemovedMemberRow } from '../store/pool-rows';
import type { SyncStore } from '../store/sync-store';
import { Refusal } from '../study/refusal';
import { takeOut } from '../study/remove-member';
import { UsageError } from './options';

/**
 * Takes a member out of the study, asked by the service's operator.
 *
 * @param name role and number, as `centre-3`, or the member's id
 * @throws UsageError where nobody is called so, and for the coordinator
 */
export async function removeMemberCalled(
  store: SyncStore,
  name: string,
  now: () => Date,
): Promise<RemovedMemberRow> {
  const members = await store.read((reader) => reader.members());
  const found = members.find(({ id, role, number }) => name === id || name === `${role}-${number}`);
  if (found === undefined) {
    throw new UsageError(
      `No member is called ${name}. Members are called by role and number, such as centre-3; roles are ${roleSchema.options.join(', ')}.`,
    );
  }
  try {
    return await takeOut(store, { member: found.id, device: null, now });
  } catch (thrown) {
    if (thrown instanceof Refusal) throw new UsageError(thrown.message);
    throw thrown;
  }
}

import { canonicalJson, type ProcedureAnswer, type ProcedureInput } from '@longhold/core/exchange';
import { countByMonth } from './audit';
import { requireLive, type Caller } from './caller';
import { requireDefinition } from './definition';
import { nextSequence } from './next-sequence';

/** Takes what a centre says of itself as a whole; the latest one counts. */
export async function sheet(
  { store, device, now }: Caller,
  input: ProcedureInput<'sheet'>,
): Promise<ProcedureAnswer<'sheet'>> {
  await store.write(async (writer) => {
    await writer.holdMember(device.member);
    await requireLive(writer, device);
    const definition = requireDefinition(await writer.definition(), input.definition);
    const sequence = await nextSequence(writer, 1);
    await writer.dropStatistics(device.member);
    await writer.putSheet({ member: device.member, definition, sequence, body: canonicalJson(input.sheet) });
    // By month like the records, which go just before it.
    await countByMonth(writer, { at: now(), device, action: 'sent-sheet', count: 1 });
  });
  return {};
}

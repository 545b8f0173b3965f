import { canonicalJson, type ProcedureAnswer, type ProcedureInput } from '@longhold/core/exchange';
import { noteAct } from './audit';
import { requireLive, type Caller } from './caller';
import { requireDefinition } from './definition';

/** Takes what a centre says of itself as a whole; the latest one counts. */
export async function sheet(
  { store, device, now }: Caller,
  input: ProcedureInput<'sheet'>,
): Promise<ProcedureAnswer<'sheet'>> {
  await store.write(async (writer) => {
    await writer.holdMember(device.member);
    await requireLive(writer, device);
    const definition = requireDefinition(await writer.definition(), input.definition);
    const sequence = await writer.takeSequences(1);
    await writer.dropStatistics(device.member);
    await writer.putSheet({ member: device.member, definition, sequence, body: canonicalJson(input.sheet) });
    await noteAct(writer, { at: now(), device, action: 'sent-sheet', subject: String(definition) });
  });
  return {};
}

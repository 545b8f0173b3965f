import { studyDefinitionSchema } from '@longhold/core/contribution';
import {
  canonicalJson,
  type DefinitionVersion,
  type ProcedureAnswer,
  type ProcedureInput,
} from '@longhold/core/exchange';
import type { StudyReader } from '../store/sync-store';
import { noteAct } from './audit';
import { requireLive, type Caller } from './caller';
import { requireSameEpoch } from './epoch';
import { Refusal } from './refusal';

/** The study definition in force; null before the first. */
export async function definitionInForce(reader: StudyReader): Promise<DefinitionVersion | null> {
  const row = await reader.definition();
  if (row === null) return null;
  return { version: row.version, definition: studyDefinitionSchema.parse(JSON.parse(row.body)) };
}

/** The refusal where there is no definition yet. */
export function noDefinition(): Refusal {
  return new Refusal(
    'definition-missing',
    'The coordinator has not published a study definition yet. Nothing can be sent before that.',
  );
}

/** Reads the study definition in force. */
export async function definition({ store, epoch }: Caller): Promise<ProcedureAnswer<'definition'>> {
  const found = await store.read(async (reader) => {
    await requireSameEpoch(reader, epoch);
    return definitionInForce(reader);
  });
  if (found === null) throw noDefinition();
  return found;
}

/** Publishes the next version, unless another one came in between. */
export async function publish(
  { store, device, now, epoch }: Caller,
  { basedOn, definition: proposed }: ProcedureInput<'publish'>,
): Promise<ProcedureAnswer<'publish'>> {
  const body = canonicalJson(studyDefinitionSchema.parse(proposed));
  return store.write(async (writer) => {
    await requireLive(writer, device);
    await requireSameEpoch(writer, epoch);
    const latest = (await writer.definition())?.version ?? 0;
    const version = latest + 1;
    if (latest !== basedOn || !(await writer.insertDefinition({ version, body }))) {
      throw new Refusal(
        'definition-conflict',
        'Another version was published meanwhile. Read it, bring your changes into it, and publish based on it.',
      );
    }
    await noteAct(writer, { at: now(), device, action: 'published-definition', subject: String(version) });
    return { version };
  });
}

/** @throws Refusal unless what is sent was made under the definition in force. */
export function requireDefinition(inForce: { readonly version: number } | null, used: number): number {
  if (inForce === null) throw noDefinition();
  if (used === inForce.version) return used;
  throw new Refusal(
    'definition-outdated',
    `Version ${inForce.version} of the study definition is in force. Read it, make what you send anew under it, and send that.`,
  );
}

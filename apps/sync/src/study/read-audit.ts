import type {
  AuditAction,
  AuditEntry,
  ProcedureAnswer,
  ProcedureInput,
  ShownAuditEntry,
} from '@longhold/core/exchange';
import { monthOf } from './audit';
import type { Caller } from './caller';
import { definitionInForce } from './definition';

/** What is counted in patients, so that a small count would single some out. */
const IN_PATIENTS: ReadonlySet<AuditAction> = new Set([
  'stored-records',
  'withdrew-patients',
  'read-records',
]);

/** Who did what, newest first, without what would say which day a patient was sent or withdrawn, or how few were. */
export async function readAudit(
  { store, now }: Caller,
  { limit = 200 }: ProcedureInput<'audit'>,
): Promise<ProcedureAnswer<'audit'>> {
  return store.read(async (reader) => {
    const smallestCell = (await definitionInForce(reader))?.definition.smallestCell ?? 1;
    const month = monthOf(now());
    const entries = (await reader.audit(limit)).filter(
      ({ at, action }) => at !== month || action === 'removed-member',
    );
    return { entries: entries.map((entry) => shown(entry, smallestCell)) };
  });
}

function shown(entry: AuditEntry, smallestCell: number): ShownAuditEntry {
  const isSmall = IN_PATIENTS.has(entry.action) && entry.count < smallestCell;
  return isSmall ? { ...entry, count: null } : entry;
}

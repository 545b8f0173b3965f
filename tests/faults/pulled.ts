import { pullAnswerSchema, type PulledChange } from '@longhold/core/exchange';
import { askService } from './sync-service';

/** Everything that the service gives out to a centre of its own. */
export interface Pulled {
  readonly records: ReadonlyMap<string, PulledChange & { kind: 'record' }>;
  readonly tombstones: ReadonlySet<string>;
}

/** Reads everything of a centre. @throws Error where a record is there twice */
export async function pulledOf(port: number, token: string): Promise<Pulled> {
  const records = new Map<string, PulledChange & { kind: 'record' }>();
  const tombstones = new Set<string>();
  for (let after = 0; ;) {
    const answer = pullAnswerSchema.parse(await askService(port, 'pull', { after }, token));
    for (const change of answer.changes) {
      if (change.kind === 'withdrawal') tombstones.add(change.tombstone);
      else if (records.has(change.record.pseudonym)) throw new Error('a record is there twice');
      else records.set(change.record.pseudonym, change);
    }
    if (!answer.more) return { records, tombstones };
    after = answer.next;
  }
}

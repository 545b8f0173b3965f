import type { StudyDefinition } from '@longhold/core/contribution';
import type { ProcedureAnswer, Role } from '@longhold/core/exchange';
import { HostFailure } from '../failure';
import type { PoolingState } from './answers';
import type { Pooling } from './pooling';

/** A pooled answer as the service released it to this member. */
export type ReleasedAnswer = Extract<ProcedureAnswer<'pooled'>, { readonly kind: 'released' }>;

/** Why no pooled answer is at hand. */
export type NoAnswerReason =
  /** Whoever asked did not want it. */
  | 'left-out'
  | 'not-linked'
  /** The service could not be reached, or took too long. */
  | 'no-reply'
  | 'refused'
  | 'nothing-contributed'
  /** The service was restored from a backup, and no centre was heard since. */
  | 'restored'
  | 'computing'
  | 'too-few-changes';

/** What the pool says beside a clinic's own answer, or why nothing. */
export type PoolBeside =
  | { readonly kind: 'none'; readonly why: NoAnswerReason }
  | {
      readonly kind: 'released';
      readonly role: Role;
      /** This clinic's id in the answer; null for others than a centre. */
      readonly ownCentre: string | null;
      readonly released: ReleasedAnswer;
      /** The definition that the answer was made by; null where it could not be read. */
      readonly definition: StudyDefinition | null;
    };

/** A report waits no longer for the service than this. */
const LONGEST_MILLISECONDS = 40_000;

/**
 * Asks the service for the pooled answer, for a report. Nothing of it is kept in the store: a patient who is withdrawn
 * from the pool must be gone from the next report too. A service that fails leaves a reason, not a fault.
 *
 * @param stop ends the asking; then this throws
 */
export async function poolBeside(
  pooling: Pick<Pooling, 'state' | 'ask'>,
  stop: AbortSignal,
  longest = LONGEST_MILLISECONDS,
): Promise<PoolBeside> {
  const state = await pooling.state();
  const { link } = state;
  if (link === null) return { kind: 'none', why: 'not-linked' };
  const limit = new AbortController();
  const end = (): void => limit.abort();
  const timer = setTimeout(end, longest);
  stop.addEventListener('abort', end, { once: true });
  if (stop.aborted) end();
  try {
    const reply = await pooling.ask('pooled', { known: null }, limit.signal);
    if (reply.kind === 'waiting') return { kind: 'none', why: reply.why };
    // Only an asker that names a release it holds is told that it is unchanged.
    if (reply.kind === 'unchanged') return { kind: 'none', why: 'refused' };
    return {
      kind: 'released',
      role: link.role,
      ownCentre: link.role === 'centre' ? link.member : null,
      released: reply,
      definition: await definitionOf(reply.definition, state, pooling, limit.signal),
    };
  } catch (thrown) {
    if (stop.aborted) throw new HostFailure('stopped', 'The computation was stopped.');
    return { kind: 'none', why: reasonOf(thrown) };
  } finally {
    clearTimeout(timer);
    stop.removeEventListener('abort', end);
  }
}

/** The definition of a version, from what the store has read or else from the service. */
async function definitionOf(
  version: number,
  { definition: known }: PoolingState,
  pooling: Pick<Pooling, 'ask'>,
  stop: AbortSignal,
): Promise<StudyDefinition | null> {
  if (known?.version === version) return known.definition;
  const latest = await pooling.ask('definition', {}, stop);
  return latest.version === version ? latest.definition : null;
}

function reasonOf(thrown: unknown): NoAnswerReason {
  const reason = thrown instanceof HostFailure ? thrown.reason : null;
  if (reason === 'service-unreachable') return 'no-reply';
  if (reason === 'service-refused') return 'refused';
  // Unlinked while it was asked.
  if (reason === 'not-linked') return 'not-linked';
  throw thrown;
}

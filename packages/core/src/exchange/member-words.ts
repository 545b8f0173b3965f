import type { PooledReply, SetAsideReason } from './pooled-messages';
import type { Role } from './messages';

/** What each role is called. */
export const ROLE_WORDS: Readonly<Record<Role, string>> = {
  coordinator: 'Coordinator',
  centre: 'Centre',
  reader: 'Reader',
};

/**
 * What people call a member, such as `Centre 3`; a study has one coordinator, who needs no number.
 *
 * @param member `number` is null where it is not known
 */
export function memberName({
  role,
  number,
}: {
  readonly role: Role;
  readonly number: number | null;
}): string {
  return role === 'coordinator' || number === null ? ROLE_WORDS[role] : `${ROLE_WORDS[role]} ${number}`;
}

/**
 * What a centre of a pooled answer is called.
 *
 * @param centre its member id in the answer's view
 * @param own the reader's own centre; null for others than a centre
 * @param numbers as they came with the answer
 */
export function centreName(
  centre: string,
  own: string | null,
  numbers: Extract<PooledReply, { kind: 'released' }>['numbers'],
): string {
  if (centre === own) return 'Your clinic';
  const known = numbers.find((one) => one.centre === centre);
  return known === undefined ? 'A centre' : memberName({ role: 'centre', number: known.number });
}

const SET_ASIDE_WORDS: Readonly<Record<SetAsideReason, string>> = {
  'took-too-long': 'the computation with them takes longer than the service allows',
  'needs-too-much': 'the computation with them needs more memory than the service allows',
  'not-computable': 'nothing can be computed from them',
};

/**
 * That a centre is left out of the pooled answers, why, and what ends it, in sentences.
 *
 * @param own the asker's own centre; null for others than a centre
 */
export function setAsideText(
  { centre, number, reason }: PooledReply['setAside'][number],
  own: string | null,
): string {
  const name = centreName(centre, own, [{ centre, number }]);
  return `${name} is left out of the pooled answers: it has sent records or sums, but ${SET_ASIDE_WORDS[reason]}. It is tried again once it sends anything else, or a new study definition is in force.`;
}

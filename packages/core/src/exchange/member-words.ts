import type { PooledReply } from './pooled-messages';
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

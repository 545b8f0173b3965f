import type { PoolingLink, Withdrawal } from '../../state/host';

/** Why a patient was taken out of the pool, as it is written. */
export const WITHDRAWAL_WORDS: Readonly<Record<Withdrawal['reason'], string>> = {
  'no-pooling-consent': 'No consent for pooling',
  'no-follow-up-consent': 'No consent for follow-up',
  'not-in-store': 'Not among the records',
  'asked-for': 'Asked for on this desktop',
  'by-another-desktop': 'By another desktop of the clinic',
  'sends-statistics-now': 'The clinic sends statistics now',
};

/** A receipt for the patient's file; empty while the service has given none. */
export function receiptText(
  { code, pseudonym, reason, askedAt, receipt }: Withdrawal,
  { address, study, member }: Pick<PoolingLink, 'address' | 'study' | 'member'>,
): string {
  if (receipt === null) return '';
  return [
    'Receipt for a withdrawal from the pool',
    '',
    `Receipt: ${receipt.id}`,
    `Sequence at the service: ${receipt.sequence}`,
    `Month at the service: ${receipt.month}`,
    removedText(receipt),
    `Patient code (known to the clinic only): ${code ?? 'not in this store'}`,
    `Pseudonym: ${pseudonym}`,
    `Reason: ${WITHDRAWAL_WORDS[reason]}`,
    `Asked for at: ${askedAt}`,
    `Service: ${address}`,
    `Study: ${study}`,
    `Clinic in the study: ${member}`,
    '',
  ].join('\n');
}

/** What the service says that it took out. */
export function removedText({
  versionsRemoved,
  patients,
}: Pick<NonNullable<Withdrawal['receipt']>, 'versionsRemoved' | 'patients'>): string {
  if (versionsRemoved !== null) return `Versions of the record that were deleted: ${versionsRemoved}`;
  return `Patients taken out of the clinic’s statistics together, this one among them: ${patients ?? 0}`;
}

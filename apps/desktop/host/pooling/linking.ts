import type { ProcedureAnswer } from '@longhold/core/exchange';
import { HostFailure } from '../failure';
import {
  documentOf,
  type PoolingBook,
  type PoolingDocument,
  type PoolingKey,
  type PoolingValue,
  type Sending,
} from '../store';
import type { Wanted } from './pooling-memory';
import { newSecret } from './pseudonyms';
import { serviceClient } from './service-client';

/** Where a desktop enrols, and as whom. */
export interface Enrolment {
  readonly address: string;
  readonly code: string;
  /** What the clinic's other desktop gave along; null for a code that was typed in. */
  readonly from: OtherDesktop | null;
  /** What the clinic chose to send; null or left out where it chooses later. */
  readonly sends?: Sending | null;
}

/** What the clinic's other desktop knows. */
export interface OtherDesktop {
  readonly study: string;
  readonly member: string;
  readonly secret: string;
  /** Pseudonyms of patients who were withdrawn for good. */
  readonly withdrawn: readonly string[];
}

/**
 * Enrols at a service and finds the secret under which this clinic's pseudonyms are made in that study.
 *
 * @param book what the store kept of earlier links
 * @throws ServiceFault; HostFailure service-refused where the clinic's records are there under a secret that this desktop
 *   does not have: sent again they would all be there twice
 */
export async function enrol(
  { address, code, from, sends = null }: Enrolment,
  book: PoolingBook,
  at: string,
): Promise<{ readonly link: PoolingValue<'link'>; readonly secret: string }> {
  const enrolled = await serviceClient(address, null).ask('enrol', { code });
  const link: PoolingValue<'link'> = {
    role: enrolled.role,
    address,
    study: enrolled.study,
    member: enrolled.member,
    device: enrolled.device,
    number: enrolled.number,
    linkedAt: at,
    token: enrolled.token,
    tokenSince: at,
    epoch: null,
    cursor: 0,
    definition: null,
    sends: enrolled.role === 'centre' ? sends : null,
    statistics: null,
    lastSent: null,
    lastChecked: null,
    fault: null,
  };
  const secret = await secretFor(enrolled, { address, from }, book);
  if (typeof secret === 'string') return { link, secret };
  await leave(link);
  throw secret;
}

async function secretFor(
  { study, member, token, role }: ProcedureAnswer<'enrol'>,
  { address, from }: Pick<Enrolment, 'address' | 'from'>,
  book: PoolingBook,
): Promise<string | HostFailure> {
  const kept = book.secret.get(study)?.secret;
  if (from !== null) {
    const fits = from.study === study && from.member === member && (kept ?? from.secret) === from.secret;
    return fits
      ? from.secret
      : refused(
          'The link file does not fit what the service says of this clinic. Make a new one on the clinic’s other desktop.',
        );
  }
  if (kept !== undefined) return kept;
  if (role === 'centre') {
    const own = await serviceClient(address, token).ask('pull', { after: 0, of: 'own', limit: 1 });
    if (own.changes.length > 0) {
      return refused(
        'Your clinic has already sent records from another desktop. Make a link file there and link with it, so that both make the same pseudonyms; otherwise every patient would be in the pool twice.',
      );
    }
  }
  return newSecret();
}

function refused(message: string): HostFailure {
  return new HostFailure('service-refused', message);
}

/** Gives up this desktop's access, as far as the service can be reached. */
export async function leave({ address, token, device }: PoolingValue<'link'>): Promise<void> {
  await serviceClient(address, token)
    .ask('revoke', { kind: 'device', device })
    .catch(() => undefined);
}

/** Writes a link down. What an earlier link left of the service's state is of no use any more. */
export function linked(
  book: PoolingBook,
  link: PoolingValue<'link'>,
  secret: string,
  from: OtherDesktop | null = null,
): Wanted {
  const { role, address, study, member, device } = link;
  const told = from === null ? { put: [], remove: [] } : withdrawnElsewhere(book, link, from);
  return {
    put: [documentOf('link', 'link', link), documentOf('secret', study, { secret }), ...told.put],
    remove: [...stateOfService(book), ...told.remove],
    note: { action: 'pooling-linked', patient: null, after: { role, address, study, member, device } },
  };
}

/**
 * Who was withdrawn for good, as the clinic's other desktop says. Where it sends statistics, whoever else was taken for
 * withdrawn here was not: the clinic had changed over.
 */
function withdrawnElsewhere(
  book: PoolingBook,
  { study, linkedAt, sends }: PoolingValue<'link'>,
  { withdrawn }: OtherDesktop,
): { readonly put: PoolingDocument[]; readonly remove: PoolingKey[] } {
  const all = new Set(withdrawn);
  const news = withdrawn.filter((pseudonym) => !book.withdrawal.has(pseudonym));
  const mistaken = [...book.withdrawal].filter(
    ([pseudonym, one]) =>
      sends === 'statistics' &&
      one.study === study &&
      one.reason === 'by-another-desktop' &&
      !all.has(pseudonym),
  );
  return {
    put: news.map((pseudonym) =>
      documentOf('withdrawal', pseudonym, {
        study,
        code: null,
        reason: 'by-another-desktop',
        askedAt: linkedAt,
        from: 'records',
        pending: false,
        receipt: null,
      }),
    ),
    remove: mistaken.map(([key]) => ({ kind: 'withdrawal', key })),
  };
}

/** Ends a link. The secret stays, so that pseudonyms are the same after a new one; receipts and history stay too. */
export function unlinked(book: PoolingBook): Wanted {
  const link = book.link.get('link');
  if (link === undefined) return null;
  const { study, member, device } = link;
  return {
    put: [],
    remove: [{ kind: 'link', key: 'link' }, ...stateOfService(book)],
    note: { action: 'pooling-unlinked', patient: null, after: { study, member, device } },
  };
}

function stateOfService(book: PoolingBook): PoolingKey[] {
  const kinds = ['head', 'before', 'outbox', 'sheet', 'definition', 'statistics', 'offered'] as const;
  return kinds.flatMap((kind) => [...book[kind].keys()].map((key) => ({ kind, key })));
}

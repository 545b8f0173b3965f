import { isoDateSchema } from '@longhold/core/records';

/** What is wrong with a typed date that may not lie after `latest`; null when nothing is. */
export function dateFault(text: string, latest: string): string | null {
  if (!isoDateSchema.safeParse(text).success) return 'A day that exists, written as YYYY-MM-DD.';
  return text > latest ? `A day not after ${latest}.` : null;
}

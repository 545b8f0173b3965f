import { canonicalJson, PROCEDURES, versionTextOf, type PushInput } from '@longhold/core/exchange';
import { notJson, Refusal } from '../study/refusal';
import { digestOf } from '../study/secrets';

/** A record version of a batch, checked and ready to be stored. */
export interface UnpackedRecord {
  readonly kind: 'record';
  readonly pseudonym: string;
  readonly version: string;
  readonly basedOn: string | null;
  /** The record as canonical JSON, as it is stored. */
  readonly body: string;
}

export type UnpackedItem = UnpackedRecord | { readonly kind: 'withdrawal'; readonly pseudonym: string };

/** A batch that fits the protocol, and in which every version is the digest of what it names. */
export interface UnpackedBatch {
  readonly batch: string;
  readonly definition: number;
  /** Equal for two batches that count as the same, whatever their keys. */
  readonly digest: string;
  readonly items: readonly UnpackedItem[];
}

/**
 * Reads the body of a `push`: all work on a batch that needs nothing of the store.
 * @throws Refusal wrong-input where it is not JSON; wrong-digest when a version is not the digest of what it names
 * @throws ZodError where it does not fit the protocol
 */
export function unpackBatch(body: Uint8Array): UnpackedBatch {
  const input = PROCEDURES.push.input.parse(parsed(body));
  return {
    batch: input.batch,
    definition: input.definition,
    digest: contentDigest(input),
    items: input.items.map(unpackItem),
  };
}

function parsed(body: Uint8Array): unknown {
  try {
    return JSON.parse(new TextDecoder().decode(body));
  } catch {
    throw notJson();
  }
}

function unpackItem(item: PushInput['items'][number], index: number): UnpackedItem {
  if (item.kind === 'withdrawal') return item;
  const { version, basedOn, record } = item;
  const body = canonicalJson(record);
  if (digestOf(versionTextOf(basedOn, body)) === version) {
    return { kind: 'record', pseudonym: record.pseudonym, version, basedOn, body };
  }
  throw new Refusal(
    'wrong-digest',
    `The version of item ${index + 1} is not the digest of its record and of the version it is based on.`,
  );
}

/** What two batches must have in common to count as the same: versions are digests of all they hold. */
function contentDigest({ definition, items }: PushInput): string {
  const parts = items.map((item) => (item.kind === 'record' ? item.version : { withdrawal: item.pseudonym }));
  return digestOf(canonicalJson({ definition, parts }));
}

import { createGunzip } from 'node:zlib';
import type { Readable } from 'node:stream';
import { BODY_LIMIT } from '@longhold/core/exchange';
import { Refusal } from '../study/refusal';

/** The refusal of a body that is larger than the protocol allows. */
export function tooLarge(): Refusal {
  return new Refusal(
    'too-large',
    `A request may have ${BODY_LIMIT} bytes, before and after decompression. Send fewer records at once.`,
  );
}

/**
 * The body without its compression. Its size is checked by whoever reads it on, byte by byte, so that a small body that
 * unpacks to a large one is stopped on its way.
 */
export function decompressed(payload: Readable, encoding: string | undefined): Readable {
  if (encoding === undefined || encoding === 'identity') return payload;
  if (encoding !== 'gzip')
    throw new Refusal('wrong-input', 'A body may be compressed with gzip, or not at all.');
  const gunzip = createGunzip();
  let received = 0;
  payload.on('data', (chunk: Buffer) => {
    received += chunk.length;
    // Read by the reader of the body, who compares it with the length that was announced.
    Object.assign(gunzip, { receivedEncodedLength: received });
  });
  payload.on('error', (fault) => gunzip.destroy(fault));
  return payload.pipe(gunzip);
}

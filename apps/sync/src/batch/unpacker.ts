import type { RefusalCode } from '@longhold/core/exchange';
import { Refusal, toRefusal } from '../study/refusal';
import { Thread } from '../thread/thread';
import { unpackBatch, type UnpackedBatch } from './unpack-batch';

/** Unpacks the bodies of batches (`unpackBatch`), whose promise fails with a Refusal where one is refused. */
export interface Unpacker {
  /** Takes the body for itself: its bytes are not there any more afterwards. */
  unpack(body: Uint8Array): Promise<UnpackedBatch>;
  stop(): Promise<void>;
}

/** What became of a body in a form that passes between threads. */
export type Unpacked =
  | { readonly kind: 'batch'; readonly batch: UnpackedBatch }
  | { readonly kind: 'refused'; readonly code: RefusalCode; readonly message: string };

/** Unpacks in the thread of the caller. */
export const ownThreadUnpacker: Unpacker = {
  unpack: async (body) => batchOf(unpackOrRefuse(body)),
  stop: async () => undefined,
};

/** A batch, or why it is refused. @throws whatever is no refusal */
export function unpackOrRefuse(body: Uint8Array): Unpacked {
  try {
    return { kind: 'batch', batch: unpackBatch(body) };
  } catch (thrown) {
    const { code, message } = toRefusal(thrown);
    // A fault of the service's own: whoever asked says so and notes it.
    if (code === 'unavailable') throw thrown;
    return { kind: 'refused', code, message };
  }
}

/**
 * Unpacks in a thread of its own: reading, checking and digesting records takes as long as storing them, and both are
 * done at the same time.
 */
export class ThreadUnpacker implements Unpacker {
  readonly #thread: Thread<Uint8Array, Unpacked>;

  /** @param file the bundled `unpack-worker.ts` */
  constructor(file: string) {
    this.#thread = new Thread(file);
  }

  async unpack(body: Uint8Array): Promise<UnpackedBatch> {
    // A small body shares its memory with others and must not be given away with them.
    const own = body.byteLength === body.buffer.byteLength ? body : body.slice();
    const { buffer } = own;
    return batchOf(await this.#thread.ask(own, buffer instanceof ArrayBuffer ? [buffer] : []));
  }

  stop(): Promise<void> {
    return this.#thread.stop();
  }
}

function batchOf(unpacked: Unpacked): UnpackedBatch {
  if (unpacked.kind === 'batch') return unpacked.batch;
  throw new Refusal(unpacked.code, unpacked.message);
}

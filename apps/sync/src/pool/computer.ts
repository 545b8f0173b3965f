import {
  centreTexts,
  estimatesText,
  poolTexts,
  readCentre,
  type CentreTexts,
  type DefinitionText,
  type PoolTexts,
} from './compute';
import { Thread, ThreadFailed } from '../thread/thread';

/** Computes what pooled answers need. One thing at a time. */
export interface PoolComputer {
  centre(records: readonly string[], sheet: string, definition: DefinitionText): Promise<CentreTexts>;
  estimates(statistics: string, definition: DefinitionText): Promise<string>;
  /** `centres` are handed over one after the other, so that not all of them are held twice. */
  pool(
    centres: AsyncIterable<{ readonly centre: string } & CentreTexts>,
    definition: DefinitionText,
  ): Promise<PoolTexts>;
  stop(): Promise<void>;
}

/** Computes in the thread of the caller. */
export const ownThread: PoolComputer = {
  centre: async (records, sheet, definition) => centreTexts(records, sheet, definition),
  estimates: async (statistics, definition) => estimatesText(statistics, definition),
  pool: async (centres, definition) => {
    const read = [];
    for await (const { centre, ...texts } of centres) read.push(readCentre(centre, texts));
    return poolTexts(read, definition);
  },
  stop: async () => undefined,
};

/** What is asked of the thread. A pool's centres come first, one by one. */
export type WorkerRequest =
  | {
      readonly kind: 'centre';
      readonly records: readonly string[];
      readonly sheet: string;
      readonly definition: DefinitionText;
    }
  | { readonly kind: 'estimates'; readonly statistics: string; readonly definition: DefinitionText }
  | { readonly kind: 'part'; readonly centre: string; readonly texts: CentreTexts }
  | { readonly kind: 'pool'; readonly definition: DefinitionText };

/** What the thread answers. */
export type WorkerReply =
  | { readonly kind: 'centre'; readonly texts: CentreTexts }
  | { readonly kind: 'estimates'; readonly text: string }
  | { readonly kind: 'part' }
  | { readonly kind: 'pool'; readonly texts: PoolTexts };

/** Records become a great many short-lived objects: with more room for these fewer of them are moved about. */
const YOUNG = { maxYoungGenerationSizeMb: 96 };

/** Computes in a thread of its own, so that requests are answered meanwhile; started when it is first needed. */
export class ThreadComputer implements PoolComputer {
  readonly #thread: Thread<WorkerRequest, WorkerReply>;

  /** @param file the bundled `pool-worker.ts` */
  constructor(file: string) {
    this.#thread = new Thread(file, YOUNG);
  }

  async centre(records: readonly string[], sheet: string, definition: DefinitionText): Promise<CentreTexts> {
    const reply = await this.#thread.ask({ kind: 'centre', records, sheet, definition });
    if (reply.kind !== 'centre') throw new ThreadFailed('OtherReply');
    return reply.texts;
  }

  async estimates(statistics: string, definition: DefinitionText): Promise<string> {
    const reply = await this.#thread.ask({ kind: 'estimates', statistics, definition });
    if (reply.kind !== 'estimates') throw new ThreadFailed('OtherReply');
    return reply.text;
  }

  async pool(
    centres: AsyncIterable<{ readonly centre: string } & CentreTexts>,
    definition: DefinitionText,
  ): Promise<PoolTexts> {
    try {
      for await (const { centre, ...texts } of centres)
        await this.#thread.ask({ kind: 'part', centre, texts });
      const reply = await this.#thread.ask({ kind: 'pool', definition });
      if (reply.kind !== 'pool') throw new ThreadFailed('OtherReply');
      return reply.texts;
    } catch (thrown) {
      // The thread may hold some of the centres: the next one starts with none.
      await this.stop();
      throw thrown;
    }
  }

  stop(): Promise<void> {
    return this.#thread.stop();
  }
}

import {
  centreTexts,
  estimatesText,
  poolTexts,
  readCentre,
  type CentreTexts,
  type DefinitionText,
  type PoolTexts,
} from './compute';

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

/**
 * Why something could not be computed. `took-too-long`: it was stopped at its time limit. `ended`: the program that
 * computes ended, as where it needs more memory than it may have. `failed`: it met an error. `stopped`: the service asked
 * it to stop.
 */
export type ComputationFault = 'took-too-long' | 'ended' | 'failed' | 'stopped';

/** Something could not be computed. Its name, which is logged, is the kind of fault, never the words of an error. */
export class ComputationFailed extends Error {
  readonly fault: ComputationFault;

  constructor(fault: ComputationFault, kind = `computation-${fault}`) {
    super('The computation of the pooled answer failed.');
    this.fault = fault;
    this.name = kind;
  }
}

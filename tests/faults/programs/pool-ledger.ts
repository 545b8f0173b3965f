import { z } from 'zod';

/**
 * What a clinic's program says while it is killed over and over: outbox items before and after they are written, so
 * that whoever reads along knows what may have left and what was promised to be kept.
 */
export type PoolLine =
  /** All stores are open and sending begins. */
  | { readonly ready: true }
  | {
      /** Which of the stores it is about. */
      readonly clinic: number;
      /** Items that are about to be written to the outbox. */
      readonly putting?: readonly PutItem[];
      /** Items that are in the outbox from now on. */
      readonly put?: readonly PutItem[];
      /** A patient whose consent is about to be taken back in the store. */
      readonly consentGone?: string;
    };

/** An item of the outbox: the version of a record, or the word that a patient is withdrawn. */
export interface PutItem {
  readonly pseudonym: string;
  /** Null for a withdrawal. */
  readonly version: string | null;
}

/** Places at which a cut could do harm. */
export const KILL_PLACES = ['request', 'answer', 'statement', 'commit', 'committed'] as const;

/** What is done in one round of the program. */
export const poolJobSchema = z.strictObject({
  /** One for each clinic. */
  stores: z.array(z.string()),
  migrationsFolder: z.string(),
  /** Decides what the clinic's people do. */
  seed: z.int(),
  /** The moment at which it happens. */
  now: z.iso.datetime(),
  /** Where the program ends itself: when it comes there for the `count`th time. Null where only others end it. */
  point: z.strictObject({ place: z.enum(KILL_PLACES), count: z.int().min(1) }).nullable(),
});
export type PoolJob = z.infer<typeof poolJobSchema>;
export type KillPoint = NonNullable<PoolJob['point']>;

/** The lines of a program's output; one that a kill cut short is left out. */
export function poolLinesOf(output: string): PoolLine[] {
  const whole = output.slice(0, output.lastIndexOf('\n') + 1);
  return whole.split('\n').flatMap((line): PoolLine[] => (line === '' ? [] : [JSON.parse(line)]));
}

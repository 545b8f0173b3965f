import type { GrowthReference } from '../growth';
import type { GroupGain } from '../retention';
import type { LeftOutReason } from './answer';
import type { ComparedResults } from './compared-answer';
import type { GrowthClockChoice } from './question';

/** Kinds of references that say something about growth. */
export type ComparedReference = Exclude<GrowthReference['kind'], 'none' | 'not-needed'>;

/** What one growth reference makes of the answer. */
export interface ReferenceResults extends ComparedResults {
  /** Mean gain of active treatment with its t interval; null for fewer than two patients. */
  readonly gain: GroupGain | null;
  /** Patients in the risk set of the survival curve. */
  readonly followed: number;
  /**
   * Patients who are in the risk set with the reference in force and not with this one, by reason. Empty for the
   * reference in force.
   */
  readonly dropsOut: readonly { readonly reason: LeftOutReason; readonly codes: readonly string[] }[];
  /** Patients who are in the risk set with this reference only. */
  readonly comesIn: readonly string[];
  /**
   * Patients whose gain in the year of the retained share counts with the reference in force and not with this one: it
   * does not speak for their sex or age then.
   */
  readonly notCovered: readonly string[];
  /** By stage of maturity: patients whose stage could not be placed, so that they stay on their age. None by age. */
  readonly notPlaced: readonly string[];
}

/** One growth reference, read by one clock. */
export interface ReferenceRow {
  readonly kind: ComparedReference;
  /** Name of the imported table; null for the other kinds. */
  readonly table: string | null;
  readonly clock: GrowthClockChoice;
  /** The reference as it is written, `Untreated series`, and with its clock, `Untreated series, by age`. */
  readonly name: string;
  readonly label: string;
  /** Whether this is what the question is answered with. */
  readonly inForce: boolean;
  /** Null where this reference cannot be used, and `why` says the reason in a sentence. */
  readonly results: ReferenceResults | null;
  readonly why: string | null;
}

/** The same question under every growth reference there is: how far the answer hangs on the choice. */
export interface ReferenceComparison {
  /** False for a measure that does not grow without treatment: no reference is needed, and there are no rows. */
  readonly needed: boolean;
  /** The reference in force first; then the others, own series, imported tables, built-in. */
  readonly rows: readonly ReferenceRow[];
}

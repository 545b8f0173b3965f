import type { ComparedResults } from './compared-answer';
import type { ReferenceComparison } from './reference-comparison-answer';
import type { Influence, WithoutPatient } from './separation-answer';

/** What was done differently in one row; `absence`: what is taken of those who stayed away. */
export type SensitivityAspect =
  'reference' | 'clock' | 'rule' | 'error' | 'threshold' | 'protocol' | 'absence';

/**
 * The main results with one thing done differently. Where that does not touch a result it is that of the answer; rows
 * of those who stayed away hold survival only, without limits: they are bounds.
 */
export interface SensitivityRow extends ComparedResults {
  readonly aspect: SensitivityAspect;
  /** The choice, as it is written. */
  readonly choice: string;
  /** Whether this is what the question asks. */
  readonly inForce: boolean;
}

/** How sure an answer is: the same question with one thing changed at a time, and with single patients left out. */
export interface SensitivityAnswer {
  /** The year whose retained share and survival are compared; null where fewer than ten were. */
  readonly retainedYear: number | null;
  readonly survivalYear: number | null;
  readonly rows: readonly SensitivityRow[];
  /** Every growth reference side by side, also those that cannot be used. */
  readonly references: ReferenceComparison;
  /** Retained share of `retainedYear` with one patient left out; null for fewer than three. */
  readonly withoutOne: { readonly lowest: WithoutPatient; readonly highest: WithoutPatient } | null;
  /** The same for the lasting gain and its share. */
  readonly influence: Influence | null;
  /**
   * The same for survival at `survivalYear`, each curve estimated anew. Null for fewer than three in the risk set, and
   * for more than 400, where one patient weighs less than a quarter of a per cent.
   */
  readonly survivalWithoutOne: { readonly lowest: WithoutPatient; readonly highest: WithoutPatient } | null;
}

import type { RatioInterval } from '../ratio';
import type { Diagnosis } from '../separation';
import type { SurvivalAtYear } from './answer';
import type { Influence, TestedEstimate, WithoutPatient } from './separation-answer';

/** What was done differently in one row. */
export type SensitivityAspect = 'reference' | 'clock' | 'rule' | 'error' | 'threshold' | 'protocol';

/** The main results with one thing done differently. */
export interface SensitivityRow {
  readonly aspect: SensitivityAspect;
  /** The choice, as it is written. */
  readonly choice: string;
  /** Whether this is what the question asks. */
  readonly inForce: boolean;
  /** Treated patients whose gain of treatment can be computed. */
  readonly patients: number;
  /** Retained share at the answer's `retainedYear`; null where it cannot be said. */
  readonly retained: {
    readonly n: number;
    readonly estimate: number;
    readonly interval: RatioInterval;
  } | null;
  /** Survival at the answer's `survivalYear`, with exact limits for the number still followed; null for nobody. */
  readonly survival: SurvivalAtYear | null;
  /** T and its share by the growth clock; null where it could not be fitted. */
  readonly lasting: TestedEstimate | null;
  readonly share: { readonly estimate: number; readonly interval: RatioInterval } | null;
  readonly diagnosis: Diagnosis | null;
}

/** How sure an answer is: the same question with one thing changed at a time, and with single patients left out. */
export interface SensitivityAnswer {
  /** The year whose retained share and survival are compared; null where fewer than ten were. */
  readonly retainedYear: number | null;
  readonly survivalYear: number | null;
  readonly rows: readonly SensitivityRow[];
  /** Retained share of `retainedYear` with one patient left out; null for fewer than three. */
  readonly withoutOne: { readonly lowest: WithoutPatient; readonly highest: WithoutPatient } | null;
  /** The same for the lasting gain and its share. */
  readonly influence: Influence | null;
}

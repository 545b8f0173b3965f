/** By how much one more visit of a patient now would narrow the lasting gain. */
export interface PatientWorth {
  readonly code: string;
  /** Age on the day of the question, years. */
  readonly ageNow: number;
  /** Fall of the variance of T, as a share of it. */
  readonly fall: number;
  /** Half-width of the interval of T now, and with the visit; unit of the measure. */
  readonly reachNow: number;
  readonly reachThen: number;
}

/** Why a patient's visit is not weighed. */
export type WorthLeftOut =
  | 'no-consent'
  | 'withdrew'
  | 'moved'
  | 'declined'
  | 'treated-again'
  | 'no-gain'
  | 'no-date'
  | 'beyond-reference';

/** What one more visit of each patient now would teach about the lasting gain. */
export interface RecallWorthAnswer {
  /** Most first. Empty where no visit can be weighed, and `why` says why. */
  readonly patients: readonly PatientWorth[];
  /** Treated patients who are asked about but not weighed, by reason; empty where nobody is. */
  readonly leftOut: readonly { readonly reason: WorthLeftOut; readonly codes: readonly string[] }[];
  /**
   * The model whose lasting gain is meant; for the fading part the doubt about tau is in the numbers. Null where neither
   * could be fitted.
   */
  readonly readFrom: 'growth-clock' | 'fading-part' | null;
  /** Why no visit can be weighed, in a sentence; null where some can. */
  readonly why: string | null;
}

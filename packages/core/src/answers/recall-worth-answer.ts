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
  /** Most first. Empty where no model could be fitted, or the day of the question is not known. */
  readonly patients: readonly PatientWorth[];
  /** Treated patients who are asked about but not weighed, by reason; empty where nobody is. */
  readonly leftOut: readonly { readonly reason: WorthLeftOut; readonly codes: readonly string[] }[];
  /** The model whose lasting gain is meant; null where neither could be fitted. */
  readonly readFrom: 'growth-clock' | 'fading-part' | null;
  /**
   * For the fading part, whether the doubt about tau is in the numbers; `taken-as-known` where the data do not fix it, so
   * that a visit's worth is understated. Null for the growth clock.
   */
  readonly tau: 'estimated' | 'taken-as-known' | null;
}

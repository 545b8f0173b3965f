/** What a study of one length would tell. */
export interface PlannedYears {
  readonly years: number;
  /**
   * Half-width of the interval of T for the numbers of patients in `PlanningAnswer.numbers`, unit of the measure; null
   * where so few are expected to give no limits.
   */
  readonly lasting: readonly (number | null)[];
  /** Half of the length of the interval of the lasting share; null where its limits are expected to be open. */
  readonly share: readonly (number | null)[];
  /** Fewest patients for T to plus or minus the target; null where no number is enough, or more than a hundred thousand. */
  readonly patients: number | null;
}

/** What the present patients would tell if they were followed on. */
export interface ContinuedYears {
  /** Years from the day of the question. */
  readonly years: number;
  /** Half-width of the interval of T, unit of the measure. */
  readonly lasting: number;
}

/** The present patients who may be called back, and how those who stayed away count among them. */
export interface FollowedOn {
  /** Patients of the model who may be called back and whose age the reference covers. */
  readonly callable: number;
  /** Of these, those not seen for more than a year and a half. */
  readonly absent: number;
  /**
   * Chance that one of the absent comes back within a year, by the absences of that length in the records: the mean over
   * the absent. Null where nobody is absent, or the records hold too few such absences of all of them to tell; these count
   * as never coming.
   */
  readonly absentReturn: number | null;
  /** Empty where the day of the question is not known, or where limits are not to be expected. */
  readonly years: readonly ContinuedYears[];
}

/** How many patients and years would tell the lasting gain to plus or minus a target. */
export interface PlanningAnswer {
  /** The model whose lasting gain is planned for: the growth clock, or the fading part for a measure that does not grow. */
  readonly readFrom: 'growth-clock' | 'fading-part';
  readonly target: number;
  /** As asked: chance, each year, of not being seen from then on, and that a yearly visit is missed. */
  readonly dropOut: number;
  readonly missed: number;
  readonly numbers: readonly number[];
  readonly rows: readonly PlannedYears[];
  /** Half-width of T that the growth curve's uncertainty alone makes; 0 where the curve is taken as known. */
  readonly floor: number;
  /** What the present study has reached: half-width of T, and its patients. */
  readonly present: { readonly lasting: number; readonly patients: number };
  /**
   * The present patients followed on. Those who may be called back and were seen lately come each year with the same
   * chances, the absent by what the records show of coming back, all others never.
   */
  readonly continued: FollowedOn;
}

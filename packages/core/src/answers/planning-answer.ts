/** What a study of one length would tell. */
export interface PlannedYears {
  readonly years: number;
  /** Half-width of the interval of T for the numbers of patients in `PlanningAnswer.numbers`, unit of the measure. */
  readonly lasting: readonly number[];
  /** Half-width of the interval of the lasting share, by the delta method. */
  readonly share: readonly number[];
  /** Fewest patients for T to plus or minus the target; null where no number is enough, since the growth curve is not sure enough. */
  readonly patients: number | null;
}

/** What the present patients would tell if they were followed on. */
export interface ContinuedYears {
  /** Years from the day of the question. */
  readonly years: number;
  /** Half-width of the interval of T, unit of the measure. */
  readonly lasting: number;
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
   * The present patients followed on: those who may be called back come again each year with the same chances, the
   * others never. `callable` is their number; `years` is empty where the day of the question is not known.
   */
  readonly continued: { readonly callable: number; readonly years: readonly ContinuedYears[] };
}

/** What names a subject in a column: equal labels are the same subject. 7 and "7" are two. */
export type SubjectLabel = string | number;

/** Row numbers of each subject, subjects in the order in which they first appear. */
export function rowsBySubject(subject: ArrayLike<SubjectLabel>): readonly (readonly number[])[] {
  const rows = new Map<SubjectLabel, number[]>();
  for (let row = 0; row < subject.length; row++) {
    const label = subject[row] ?? '';
    const known = rows.get(label);
    if (known === undefined) rows.set(label, [row]);
    else known.push(row);
  }
  return [...rows.values()];
}

/** One-way analysis of variance of a value by subject, replicates unequal in number. */
export interface SubjectVariation {
  readonly subjects: number;
  readonly values: number;
  /** Mean of each subject, and how many values it is the mean of. */
  readonly means: readonly number[];
  readonly counts: readonly number[];
  /** Mean of all values. */
  readonly grandMean: number;
  /** Mean square between subjects, on subjects - 1 degrees of freedom; NaN for one subject. */
  readonly betweenMeanSquare: number;
  /** Mean square within subjects, on values - subjects degrees of freedom; NaN where no subject has two values. */
  readonly withinMeanSquare: number;
}

/**
 * One-way analysis of variance, in which sums of squares that are no more than rounding are 0.
 * Source: Snedecor and Cochran 1989, section 13.3.
 *
 * @param size of the largest reading that the values are, or are differences of
 */
export function subjectVariation(
  groups: readonly (readonly number[])[],
  value: ArrayLike<number>,
  size: number,
): SubjectVariation {
  const counts = groups.map((rows) => rows.length);
  const means = groups.map((rows) => {
    // From the first value on, so that equal values are their own mean.
    const start = value[rows[0] ?? -1] ?? NaN;
    return start + rows.reduce((sum, row) => sum + ((value[row] ?? NaN) - start), 0) / rows.length;
  });
  const values = counts.reduce((sum, count) => sum + count, 0);
  const start = means[0] ?? NaN;
  const grandMean =
    start + means.reduce((sum, mean, i) => sum + (mean - start) * (counts[i] ?? 0), 0) / values;
  let between = 0;
  let within = 0;
  groups.forEach((rows, i) => {
    const mean = means[i] ?? NaN;
    between += rows.length * (mean - grandMean) ** 2;
    for (const row of rows) within += ((value[row] ?? NaN) - mean) ** 2;
  });
  return {
    subjects: groups.length,
    values,
    means,
    counts,
    grandMean,
    betweenMeanSquare: withoutRounding(between, values, size) / (groups.length - 1),
    withinMeanSquare: withoutRounding(within, values, size) / (values - groups.length),
  };
}

/** A sum of squares of `count` deviations, 0 where it is no more than the rounding of readings of this size. */
export function withoutRounding(squares: number, count: number, size: number): number {
  return squares <= count * (8 * Number.EPSILON * size) ** 2 ? 0 : squares;
}

/**
 * The number of replicates that stands in the expected mean square between subjects where numbers are unequal,
 * (N - sum m^2 / N) / (subjects - 1). Source: Snedecor and Cochran 1989, section 13.7.
 */
export function effectiveReplicates(counts: readonly number[]): number {
  const total = counts.reduce((sum, count) => sum + count, 0);
  const squares = counts.reduce((sum, count) => sum + count * count, 0);
  return (total - squares / total) / (counts.length - 1);
}

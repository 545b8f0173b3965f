import { normalTwoSidedP, studentTwoSidedP, twoSidedNormal, twoSidedStudent } from '../numeric';
import type { PartEstimate } from './two-part-model';

/** The two-sided quantile on which an estimate's limits stand: Student's, or the normal one where df is null. */
export function multiplierOf(df: number | null, level: number): number {
  return df === null ? twoSidedNormal(level) : twoSidedStudent(level, df);
}

/** An estimate with another standard error and degrees of freedom, and with the test and limits that follow. */
export function withPrecision(
  part: PartEstimate,
  { standardError, df }: Pick<PartEstimate, 'standardError' | 'df'>,
  level: number,
): PartEstimate {
  const t = part.estimate / standardError;
  const margin = standardError * multiplierOf(df, level);
  return {
    ...part,
    standardError,
    df,
    t,
    p: df === null ? normalTwoSidedP(t) : studentTwoSidedP(t, df),
    lower: Number.isFinite(margin) ? part.estimate - margin : null,
    upper: Number.isFinite(margin) ? part.estimate + margin : null,
  };
}

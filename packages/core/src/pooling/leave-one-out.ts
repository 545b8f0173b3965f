import { isRefusal } from '../numeric';
import { randomEffects, type PoolingOptions } from './random-effects';
import type { EstimatedCoefficient } from './hartung-knapp';
import { checkLevel, checkStudies, type StudiesRefusal, type StudyEffects } from './studies';

/** What is left when one study is left out. */
export interface WithoutOneStudy extends EstimatedCoefficient {
  /** Position of the study left out, from 0. */
  readonly omitted: number;
  readonly tauSquared: number;
  /** Share of tau^2 in the total variance, 0 to 1, by tau^2 in use. */
  readonly iSquared: number;
  readonly q: number;
  readonly qP: number;
}

/**
 * The random-effects mean without each study in turn, to see what hangs on a single one. Source: Viechtbauer and
 * Cheung 2010.
 *
 * @returns one entry for each study in the order given, each equal to the analysis of the others alone; a refusal as
 *   `randomEffects` gives, and for fewer than three studies
 */
export function leaveOneOut(
  studies: StudyEffects,
  options: PoolingOptions = {},
): readonly WithoutOneStudy[] | StudiesRefusal {
  const wrong =
    checkStudies(studies, { studies: 3, for: 'to leave one out' }) ?? checkLevel(options.level ?? 0.95);
  if (wrong !== null) return wrong;
  const results: WithoutOneStudy[] = [];
  for (let omitted = 0; omitted < studies.estimate.length; omitted++) {
    const others = (column: ArrayLike<number>): number[] =>
      Array.from(column).filter((_, i) => i !== omitted);
    const rest = { estimate: others(studies.estimate), variance: others(studies.variance) };
    const fit = randomEffects(rest, options);
    if (isRefusal(fit)) return fit;
    const { estimate, standardError, interval, statistic, p, heterogeneity } = fit;
    const { tauSquared, iSquared, q, p: qP } = heterogeneity;
    results.push({ omitted, estimate, standardError, interval, statistic, p, tauSquared, iSquared, q, qP });
  }
  return results;
}

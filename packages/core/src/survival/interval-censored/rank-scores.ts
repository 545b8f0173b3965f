import { innermostIntervals, orderSample, type IntervalLikelihood } from './innermost-intervals';
import { countsOf, type IntervalTimes } from './interval-times';
import type { MassPlace } from './mass-likelihood';
import { maximumMasses } from './turnbull';

/**
 * Which log-rank test for interval-censored times:
 * `sun` adds up, over the innermost intervals, expected events less expected share of the expected risk set (Sun 1996);
 * with exact and right-censored times these are the log-rank test's own observed minus expected.
 * `finkelstein` is the efficient score of proportional hazards with grouped times (Finkelstein 1986).
 */
export type RankScoreForm = 'sun' | 'finkelstein';

/**
 * The score of each entry under the hypothesis that all come from one distribution, the pooled Turnbull estimate:
 * positive where the event came early. They sum to 0, each times its count.
 * With S at the ends of the interval, `(S(L) log S(L) - S(R) log S(R)) / (S(L) - S(R))`; Sun's form has minus the
 * summed hazard in the place of log S. Sources: Sun 1996; Finkelstein 1986; Fay 1999.
 *
 * @param times checked already
 * @returns one score for each entry; 0 for entries with count 0
 */
export function rankScores(times: IntervalTimes, form: RankScoreForm): Float64Array {
  const counts = countsOf(times);
  const likelihood = innermostIntervals(orderSample(times), counts);
  const present = scoresUnder(likelihood, maximumMasses(likelihood).place, form);
  const scores = new Float64Array(counts.length);
  let next = 0;
  for (let i = 0; i < counts.length; i++) if ((counts[i] ?? 0) > 0) scores[i] = present[next++] ?? 0;
  return scores;
}

/** The same for observations whose curve is known already, one score for each of the likelihood's observations. */
export function scoresUnder(
  likelihood: IntervalLikelihood,
  { masses, probability }: MassPlace,
  form: RankScoreForm,
): Float64Array {
  const after = survivalFrom(masses);
  const log = logSurvival(masses, after, form);
  return Float64Array.from(likelihood.count, (_, i) =>
    scoreOf(likelihood, i, after, log, probability[i] ?? 0),
  );
}

/** S just before each innermost interval and, last, after all of them: summed from the end, where it is small. */
function survivalFrom(masses: Float64Array): Float64Array {
  const survival = new Float64Array(masses.length + 1);
  for (let j = masses.length - 1; j >= 0; j--) survival[j] = (survival[j + 1] ?? 0) + (masses[j] ?? 0);
  return survival;
}

/** The logarithm of S at the same places, or minus the sum of the discrete hazards up to there. */
function logSurvival(masses: Float64Array, survival: Float64Array, form: RankScoreForm): Float64Array {
  if (form === 'finkelstein') return survival.map((value) => (value > 0 ? Math.log(value) : 0));
  const minusHazard = new Float64Array(survival.length);
  for (let j = 0; j < masses.length; j++) {
    const hazard = (survival[j] ?? 0) > 0 ? (masses[j] ?? 0) / (survival[j] ?? 1) : 0;
    minusHazard[j + 1] = (minusHazard[j] ?? 0) - hazard;
  }
  return minusHazard;
}

function scoreOf(
  { first, last }: IntervalLikelihood,
  i: number,
  survival: Float64Array,
  log: Float64Array,
  probability: number,
): number {
  const from = first[i] ?? 0;
  const to = (last[i] ?? 0) + 1;
  const left = (survival[from] ?? 0) * (log[from] ?? 0);
  const right = (survival[to] ?? 0) * (log[to] ?? 0);
  return (left - right) / probability;
}

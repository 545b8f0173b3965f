import { isRefusal } from '../numeric';
import { countText, patientsText, percentText, pText, ratioText, shareLimitsText } from './number-text';
import { GROUPING_WORDS } from './grouping';
import type { OutcomeSummary } from './words';

/** Whether groups differ in how long the gain stays, in one or two sentences. */
export function groupsSentence({ groups }: OutcomeSummary): string {
  if (groups === null)
    return 'There is nobody to compare: no patient has both a measurable gain and a follow-up visit.';
  const name = GROUPING_WORDS[groups.grouping].toLowerCase();
  const tested = groups.tests.find(({ grouping }) => grouping === groups.grouping);
  if (groups.reference === null || tested?.test == null) {
    return `Groups by ${name} cannot be compared yet. ${tested?.why ?? ''}`;
  }
  const { p } = tested.test;
  const [weibull] = groups.regressions;
  const ratio = weibull === undefined || isRefusal(weibull) ? null : clearest(weibull.timeRatios);
  const difference =
    p < 0.05
      ? `The gain does not stay equally long in groups by ${name} (p ${p < 0.001 ? '' : '= '}${pText(p)}).`
      : `No difference between groups by ${name} is shown (p = ${pText(p)}); that does not prove that there is none.`;
  if (ratio === null) return difference;
  return `${difference} Against ${groups.reference}, the gain stays ${ratioText(ratio.estimate)} times as long with ${ratio.label} (${ratioText(ratio.limits.lower)} to ${ratioText(ratio.limits.upper)}).`;
}

/** The ratio that the data tell from 1 most clearly. */
function clearest<Ratio extends { readonly p: number }>(ratios: readonly Ratio[]): Ratio | null {
  return ratios.reduce<Ratio | null>((best, one) => (best === null || one.p < best.p ? one : best), null);
}

/** How often a second treatment came before a loss was found, in one sentence. */
export function competingSentence({ competing }: OutcomeSummary): string {
  if (competing === null)
    return 'Nobody can be followed yet, so no second treatment can be set against a loss.';
  const known = competing.atYears.filter(({ lost, atRisk }) => lost.probability !== null && atRisk >= 5);
  const shown = known.find(({ year }) => year === 5) ?? known[known.length - 1];
  const counts = `Of ${patientsText(competing.patients)} followed, ${countText(competing.lost)} had lost the gain when found so and ${countText(competing.treatedAgain)} had been treated again before that.`;
  if (shown?.lost.probability == null || shown.treatedAgain.probability === null) return counts;
  return `${counts} By year ${shown.year} the chances are ${percentText(shown.lost.probability)} and ${percentText(shown.treatedAgain.probability)}.`;
}

/** What those who stayed away could do to the answer, in one to three sentences. */
export function absenceSentence({ absence, survival }: OutcomeSummary): string {
  const away = absence.stayedAway + absence.neverSeen;
  if (survival === null) return 'There is no curve yet that those who stayed away could change.';
  if (away === 0)
    return 'Nobody who could have been seen in the last year and a half stayed away, so nothing hangs on the missing.';
  const tip = absence.survivalTip;
  const at = tip === null ? undefined : absence.bounds.find(({ years }) => years === tip.year);
  const counts = `${countText(away)} of ${patientsText(absence.patients)} stayed away (${countText(absence.neverSeen)} of them never seen after treatment).`;
  if (tip === null || at === undefined) return counts;
  const bounds = `At year ${tip.year} anything from ${shareLimitsText({ lower: at.worst, upper: at.best })} could still have the gain, depending on them; the estimate of ${percentText(at.estimate)} takes them to be like those who came.`;
  return `${counts} ${bounds} ${tipText(at.estimate, tip)}`;
}

function tipText(estimate: number, tip: { readonly at: number | null; readonly limit: number }): string {
  const most = percentText(tip.limit);
  if (tip.at !== null && tip.at >= 0.005)
    return `That at least ${most} still have it would be overturned if ${percentText(tip.at)} of those who stayed away had lost it right after their last visit.`;
  return estimate >= tip.limit
    ? `That at least ${most} still have it holds even if all of them had lost it.`
    : `Fewer than ${most} still have it, whatever became of them.`;
}

import type { ReferenceDescription } from '../growth';
import { isRefusal } from '../numeric';
import type { SurvivalAnswer } from './answer';
import type { Carried } from './drawn-losses';
import {
  countText,
  measureText,
  numberText,
  patientsText,
  percentText,
  pText,
  ratioText,
  shareLimitsText,
} from './number-text';
import { GROUPING_WORDS } from './grouping';
import type { GroupMeanDifference } from './survival-groups-answer';
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
  return `${counts} ${bounds} ${tipText(tip, at.best)}`;
}

function tipText({ limit, crossing, at, lowerCrossing, lowerAt }: SurvivalTip, best: number): string {
  const most = percentText(limit);
  const lower =
    lowerCrossing === 'always-below'
      ? ' Its interval reaches below that in any case.'
      : lowerCrossing === 'always-above'
        ? ' So does the lower limit of its interval.'
        : ` The lower limit of its interval falls below ${most} from ${smallShareText(lowerAt ?? NaN)} on.`;
  switch (crossing) {
    case 'always-below':
      return best < limit
        ? `Fewer than ${most} still have it, whatever became of them.`
        : `The estimate is below ${most} already; at least ${most} still have it only if they kept it better than those who came.`;
    case 'always-above':
      return `That at least ${most} still have it holds even if all of them had lost it.${lower}`;
    case 'tips':
      return `That at least ${most} still have it would be overturned if ${smallShareText(at ?? NaN)} of those who stayed away had lost it right after their last visit.${lower}`;
  }
}

function smallShareText(share: number): string {
  return share < 0.005 ? 'less than 1\u00a0%' : percentText(share);
}

/** How bad the unseen would have to be to bring the retained share across the threshold, in two to four sentences. */
export function shareTipSentence({ absence, measure }: OutcomeSummary): string | null {
  const tip = absence.shareTip;
  if (tip === null) return null;
  const [worst] = tip.table;
  const best = tip.table[tip.table.length - 1];
  const counts = `Retained share at year ${tip.year}: ${countText(tip.seen)} were measured, ${countText(tip.unseen)} could have been but were not. If the unseen kept none of their gain the share of all would be ${percentText(worst?.overall ?? NaN)}; if they kept all of it, ${percentText(best?.overall ?? NaN)}.`;
  const limit = percentText(tip.limit);
  const amount = (value: number): string => measureText(value, measure.unit);
  const reached =
    tip.crossing === 'tips'
      ? `It crosses the threshold of ${limit} where the unseen kept ${percentText(tip.at ?? NaN)}`
      : tip.crossing === 'always-above'
        ? `It stays above the threshold of ${limit} even if they kept none; for the threshold they would have to have lost more than treatment gave`
        : `It stays below the threshold of ${limit} even if they kept all; for the threshold they would have to have gained further`;
  const means = `: ${amount(tip.unseenMeanAtLimit)} of gain on average, where the seen had ${amount(tip.seenMean)}.`;
  const lower =
    tip.lowerCrossing === 'tips' && tip.lowerAt !== null
      ? ` The lower limit of the share stays above ${limit} where they kept ${percentText(tip.lowerAt)} or more.`
      : tip.lowerCrossing === 'always-above'
        ? ` The lower limit of the share is above ${limit} whatever they kept.`
        : ` The lower limit of the share is below ${limit} even if they kept all.`;
  return `${counts} ${reached}${means}${lower}`;
}

type SurvivalTip = NonNullable<OutcomeSummary['absence']['survivalTip']>;

/** Parts of what is uncertain about every patient's margin, as far as the limits of survival carry them or not. */
interface DoubtWords {
  /** Such as `the growth curve and the method error`; null where nothing is carried. */
  readonly carried: string | null;
  /** What is not known and so not in the limits; null where nothing is left out. */
  readonly notKnown: string | null;
}

/** Which uncertainties the limits of survival carry, and which not, as they are written. */
export function doubtWords({ carried }: SurvivalAnswer, reference: ReferenceDescription): DoubtWords {
  const name = REFERENCE_NAMES[reference.kind];
  const named = (which: Carried): string | null => {
    const parts = [
      ...(carried.growthReference === which ? [name] : []),
      ...(carried.methodError === which ? ['the method error'] : []),
    ];
    return parts.length === 0 ? null : parts.join(' and ');
  };
  return { carried: named('carried'), notKnown: named('not-known') };
}

const REFERENCE_NAMES: Readonly<Record<ReferenceDescription['kind'], string>> = {
  'untreated-series': 'the growth curve',
  'imported-table': "the growth table's means",
  'built-in-table': 'the growth table',
  'not-needed': 'growth',
  none: 'growth',
};

/** What the intervals of survival hold, in two or three sentences. */
export function carriedSentence(survival: SurvivalAnswer, reference: ReferenceDescription): string {
  const { carried, notKnown } = doubtWords(survival, reference);
  const held =
    carried === null
      ? 'These intervals hold what the number of patients leaves open.'
      : `These intervals hold what the number of patients leaves open, and the uncertainty of ${carried}: every resampling takes other values of ${carried.includes(' and ') ? 'them' : 'it'} that the data allow, the same for all patients.`;
  const left =
    notKnown === null
      ? ''
      : ` The uncertainty of ${notKnown} is not known and not in them, so they are somewhat too narrow; “How sure is it?” shows how much hangs on it.`;
  return `${held}${left} Those of the conventional curve, as other reports have them, hold neither.`;
}

/**
 * Mean years, or a difference of them, with limits; with a star and what they lie between where undefined stretches of the
 * curves move them by as much as shows.
 */
export function meanYearsText({
  estimate,
  limits,
  undefinedWithin,
}: Pick<GroupMeanDifference, 'estimate' | 'limits' | 'undefinedWithin'>): string {
  const [value, from, to] = [estimate, undefinedWithin.lower, undefinedWithin.upper].map((years) =>
    numberText(years, 1),
  );
  const star = from === value && to === value ? '' : ` * [${from} to ${to}]`;
  return `${value}${star} (${numberText(limits.lower, 1)} to ${numberText(limits.upper, 1)})`;
}

/** What a star in a table of mean years means. */
export const UNDEFINED_MEAN_NOTE =
  '* The visits don’t say when within some intervals the gain was lost: the value can lie anywhere between those in square brackets. Its limits are about the estimate alone.';

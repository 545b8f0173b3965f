import type { MeasureDefinition } from '../measures';
import type { FlowYear, LeftOutReason, NotSeenReason, OutcomeAnswer, PatientOutcome } from './answer';
import {
  countText,
  measureText,
  percentText,
  ratioIntervalText,
  shareLimitsText,
  yearsText,
} from './number-text';
import type { OutcomeQuestion } from './question';
import type { LossRule } from '../survival';
import type { StatusReason, Verdict } from '../retention';

/** An answer without what is said of single patients: enough for every group sentence. */
export type OutcomeSummary = Omit<OutcomeAnswer, 'patients' | 'worth' | 'gains' | 'rows'>;

/** Verdicts as they are written on screens and in reports. */
export const VERDICT_WORDS: Readonly<Record<Verdict, string>> = {
  held: 'Held',
  lost: 'Lost',
  'cannot-tell': "Can't tell",
  'not-measurable': 'Not measurable',
  'no-follow-up': 'No follow-up',
  'treated-again': 'Treated again',
};

/** The order in which verdicts are listed and sorted: decided ones first. */
export const VERDICT_ORDER: readonly Verdict[] = [
  'held',
  'lost',
  'cannot-tell',
  'not-measurable',
  'no-follow-up',
  'treated-again',
];

/** Why a verdict could not be given. */
export const STATUS_REASON_WORDS: Readonly<Record<StatusReason, string>> = {
  measurement: 'measurement error is the larger doubt',
  growth: "the child's own growth is the larger doubt",
  'gain-not-measurable': 'the gain of treatment cannot be told from error and ordinary growth',
  'gain-below-floor': 'the gain of treatment never reached the floor',
  'no-baseline': 'no value at the start or at the end of active treatment',
  'film-factor-unknown': 'the enlargement of its films is not known',
  'no-reference': 'expected growth is not known for this sex or age',
  'treated-again': 'a second treatment hides what became of the first',
};

/** Why a treated patient is not in the survival curve. */
export const LEFT_OUT_WORDS: Readonly<Record<LeftOutReason, string>> = {
  'no-consent': 'No consent for follow-up',
  'no-start-value': 'No value at the start',
  'no-end-value': 'No value at the end of active treatment',
  'film-factor-unknown': 'Enlargement of the films not known',
  'no-reference': 'Expected growth not known for this sex or age',
  'gain-not-measurable': 'Gain of treatment not measurable',
  'gain-below-floor': 'Gain of treatment below the floor from the beginning',
  'no-follow-up': 'No follow-up visit',
};

/** Why an eligible patient was not seen in a year. */
export const NOT_SEEN_WORDS: Readonly<Record<NotSeenReason, string>> = {
  withdrew: 'Withdrew',
  moved: 'Moved away',
  declined: 'Declined',
  'treated-again': 'Treated again',
  'no-consent': 'No consent for follow-up',
  'not-known': 'Reason not recorded',
};

/** The loss rules, as a sentence each. */
export const RULE_WORDS: Readonly<Record<LossRule, string>> = {
  'any-visit': 'A gain counts as lost at the first visit below the threshold.',
  'beyond-error':
    'A gain counts as lost at the first visit below the threshold by more than measurement error allows.',
  confirmed: 'A gain counts as lost at the first visit below the threshold that the next visit confirms.',
};

/** The rule in force as a clause of the survival sentence: no share of survivors without the rule that made it. */
const RULE_CLAUSES: Readonly<Record<LossRule, string>> = {
  'any-visit': 'counting every visit below the threshold as a loss',
  'beyond-error': 'counting only losses beyond measurement error',
  confirmed: 'counting losses that the next visit confirmed',
};

/** Which way a rule leans, seen when the curve of invented studies is held against what was planted in them. */
export const RULE_LEANING: Readonly<Record<LossRule, string>> = {
  'any-visit': 'Errors alone can look like losses, so this curve tends to lie too low.',
  'beyond-error': 'Small losses are found late or never, so this curve tends to lie too high.',
  confirmed:
    'A loss that no later visit could confirm is not counted, so this curve tends to lie too high in its later years.',
};

/** The threshold in words: `at least 75 % of the gain`, `at least 2.0 mm of gain`. */
export function thresholdText(
  { threshold }: Pick<OutcomeQuestion, 'threshold'>,
  measure: MeasureDefinition,
): string {
  return threshold.kind === 'share'
    ? `at least ${percentText(threshold.share)} of the gain`
    : `at least ${measureText(threshold.amount, measure.unit)} of gain`;
}

/** What to do where lengths can't be used because nobody said how much their films enlarge; else empty. */
function factorHint({ leftOut, measure }: OutcomeSummary): string {
  const unknown = leftOut.find(({ reason }) => reason === 'film-factor-unknown')?.codes.length ?? 0;
  if (unknown === 0) return '';
  return ` ${measure.code} is a length on films, and ${unknown === 1 ? 'the films of 1 patient carry' : `the films of ${countText(unknown)} patients carry`} no factor that makes natural sizes of them.`;
}

/** How much of the gain is kept, in one or two sentences with interval and number. */
export function retentionSentence(answer: OutcomeSummary): string {
  const { measure, gain } = answer;
  if (answer.reference.kind === 'none') {
    return `This cannot be answered for ${measure.code}: expected growth is not known. ${answer.reference.reason}`;
  }
  if (gain === null)
    return `This cannot be answered yet: fewer than two patients have a gain of ${measure.code} to follow.${factorHint(answer)}`;
  const atEnd = `Active treatment ended with a mean gain of ${measureText(gain.mean, measure.unit)} in ${measure.code} beyond expected growth (${measureText(gain.limits.lower, measure.unit)} to ${measureText(gain.limits.upper, measure.unit)}; ${countText(gain.n)} patients).`;
  const latest = yearToTell(answer.retained.filter(({ share }) => share !== null));
  if (latest?.share == null)
    return `${atEnd} Too few patients were seen later to say how much of it is kept.`;
  const { year, n, share } = latest;
  if (share.interval.kind !== 'bounded') {
    return `${atEnd} At ${yearsText(year)} the data do not bound the share that is kept (${countText(n)} patients).`;
  }
  return `${atEnd} At ${yearsText(year)}, ${percentText(share.estimate)} of it is kept (${ratioIntervalText(share.interval)}; ${countText(n)} patients).`;
}

/** Year 5 where it rests on ten patients or more, else the latest year that does, else the year with most patients. */
function yearToTell<Year extends { readonly year: number; readonly n: number }>(
  years: readonly Year[],
): Year | undefined {
  const well = years.filter(({ n }) => n >= 10);
  return (
    well.find(({ year }) => year === 5) ?? well[well.length - 1] ?? [...years].sort((a, b) => b.n - a.n)[0]
  );
}

/** For how long the gain stays, in one or two sentences with interval and number at risk. */
export function survivalSentence(answer: OutcomeSummary): string {
  const { survival, question, measure } = answer;
  if (answer.reference.kind === 'none') {
    return `This cannot be answered for ${measure.code} either: without expected growth nobody can be said to have kept or lost a gain.`;
  }
  if (survival === null) {
    return `This cannot be answered yet: no patient has both a measurable gain in ${measure.code} and a follow-up visit.`;
  }
  const threshold = thresholdText(question, measure);
  const readable = survival.turnbull.atYears.filter(
    ({ atRisk, estimate }) => estimate !== null && atRisk >= 5,
  );
  const shown = readable.find(({ year }) => year === 5) ?? readable[readable.length - 1];
  if (shown?.estimate == null || shown.limits === null) {
    return `Of ${countText(survival.patients)} patients whose gain can be followed, ${countText(survival.losses)} were seen to lose it; too few were followed for a year to read off how long it stays.`;
  }
  return `After ${yearsText(shown.year)}, ${RULE_CLAUSES[question.rule]}, an estimated ${percentText(shown.estimate)} of patients still have ${threshold} in ${measure.code} (${shareLimitsText(shown.limits)}; ${countText(shown.atRisk)} still followed). ${countText(survival.losses)} of ${countText(survival.patients)} were seen to lose it.`;
}

/** How many still stand above the threshold once measurement error is taken out; null where nothing can be said. */
export function aboveSentence(answer: OutcomeSummary): string | null {
  const shown = yearToTell(answer.above.filter(({ corrected }) => corrected !== null));
  if (shown?.corrected == null || shown.measured === null) return null;
  const { estimate, limits } = shown.corrected;
  return `Under no rule, and with measurement error taken out, an estimated ${percentText(estimate)} of those seen at ${yearsText(shown.year)} have ${thresholdText(answer.question, answer.measure)} (${shareLimitsText(limits)}; ${countText(shown.n)} patients).`;
}

/** Who was seen and who was not, in one or two sentences. */
export function missingSentence(answer: OutcomeSummary): string {
  const { flow } = answer;
  if (flow.length === 0) {
    return `No patient has been out of active treatment for a year and a half yet, so nobody can be missing.`;
  }
  const shown = [...flow].reverse().find(({ eligible }) => eligible >= 10) ?? flow[0];
  if (shown === undefined) return '';
  return `Of ${shown.eligible === 1 ? '1 patient' : `${countText(shown.eligible)} patients`} who could have been seen at ${yearsText(shown.year)}, ${countText(shown.seen)} ${shown.seen === 1 ? 'was' : 'were'}${reasonsText(shown)}.`;
}

function reasonsText({ notSeen, eligible, seen }: FlowYear): string {
  if (eligible === seen) return '';
  const named = (Object.keys(notSeen) as NotSeenReason[])
    .filter((reason) => notSeen[reason] > 0)
    .map((reason) => `${countText(notSeen[reason])} ${NOT_SEEN_WORDS[reason].toLowerCase()}`);
  return `; the others: ${named.join(', ')}`;
}

/** What became of one patient's gain, in one or two sentences. */
export function statusSentence(outcome: PatientOutcome, measure: MeasureDefinition): string {
  const { gain, status } = outcome;
  const reason = status.reason === null ? '' : STATUS_REASON_WORDS[status.reason];
  if (gain === null) return `No gain of ${measure.code} can be computed: ${reason}.`;
  const atEnd = `Active treatment ended with a gain of ${measureText(gain.estimate, measure.unit)} in ${measure.code} beyond expected growth (${measureText(gain.limits.lower, measure.unit)} to ${measureText(gain.limits.upper, measure.unit)}).`;
  const latest = [...outcome.visits]
    .reverse()
    .find(({ kind, gain: later }) => kind === 'follow_up' && later !== null);
  const now =
    latest?.gain == null || latest.years === null
      ? ''
      : ` ${measureText(latest.gain.estimate, measure.unit)} of gain (${measureText(latest.gain.limits.lower, measure.unit)} to ${measureText(latest.gain.limits.upper, measure.unit)}) was there ${yearsText(latest.years, 1)} later.`;
  switch (status.verdict) {
    case 'held':
      return `${atEnd}${now} The gain is held.`;
    case 'lost':
      return `${atEnd}${now} The gain is lost.`;
    case 'cannot-tell':
      return `${atEnd}${now} Whether it is held can't be told: ${reason}.`;
    case 'no-follow-up':
      return `${atEnd} There is no follow-up visit yet.`;
    case 'not-measurable':
    case 'treated-again':
      return `${atEnd}${now} No verdict: ${reason}.`;
  }
}

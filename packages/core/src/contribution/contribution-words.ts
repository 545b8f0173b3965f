import { countText, patientsText, percentText } from '../answers/number-text';
import type { ClinicContribution } from './clinic-contribution';
import type { RecordCoarsening } from './coarsen';
import type { NotContributedReason } from './deidentify';
import type { RecordChanges } from './record-changes';
import type { StudyDefinition } from './study-definition';

/** Why a patient is not in the contribution, as it is written. */
export const NOT_CONTRIBUTED_WORDS: Readonly<Record<NotContributedReason, string>> = {
  'no-pooling-consent': 'No consent for pooling',
  'no-follow-up-consent': 'No consent for follow-up',
  'no-end': 'Active treatment has no recorded end',
  'no-start': 'No visit at the start of treatment',
  'no-age': 'Age not known',
  'untreated-not-needed': 'Untreated, and this study does not learn growth from untreated children',
  'nothing-measured': 'Untreated, and nothing measured that the study asks for',
  'outside-limits': 'A time or value that no contribution may hold',
  'too-few-alike': 'Too few patients alike, even after coarsening',
};

/** The order in which reasons are listed. */
const REASON_ORDER: readonly NotContributedReason[] = [
  'no-pooling-consent',
  'no-follow-up-consent',
  'no-end',
  'no-start',
  'no-age',
  'untreated-not-needed',
  'nothing-measured',
  'outside-limits',
  'too-few-alike',
];

/** What a contribution is in law, said wherever it is shown. */
export const PSEUDONYMISED_SENTENCE =
  'What leaves is pseudonymised, not anonymous: it is still personal data under the law of many countries. ' +
  'Ethics approval, consent and the agreement of the study group come first.';

/** Patients who stay at home for one reason. */
export interface LeftOutWords {
  readonly reason: NotContributedReason;
  readonly words: string;
  /** The clinic's own codes. */
  readonly codes: readonly string[];
}

/** A contribution in plain words, for the person who decides whether to send it. Every entry is one sentence. */
export interface ContributionWords {
  /** What leaves, and of how many. */
  readonly leaves: readonly string[];
  /** What was made less precise, and for how many. */
  readonly coarsened: readonly string[];
  readonly staysHome: readonly string[];
  readonly leftOut: readonly LeftOutWords[];
  /** What someone could still find out. */
  readonly risk: readonly string[];
  readonly law: string;
}

/** Tells a clinic what its contribution is before it leaves. */
export function contributionWords(
  contribution: ClinicContribution,
  definition: StudyDefinition,
): ContributionWords {
  return {
    leaves: leavesWords(contribution, definition),
    coarsened: coarsenedWords(contribution.coarsening, definition),
    staysHome: staysHomeWords(contribution),
    leftOut: REASON_ORDER.flatMap((reason) => {
      const codes = contribution.leftOut.flatMap((one) => (one.reason === reason ? [one.code] : []));
      return codes.length === 0 ? [] : [{ reason, words: NOT_CONTRIBUTED_WORDS[reason], codes }];
    }),
    risk: riskWords(contribution, definition),
    law: PSEUDONYMISED_SENTENCE,
  };
}

/** What is about to be sent, against what was sent before; one sentence each. */
export function changesWords({
  fresh,
  changed,
  conflicts,
  withdrawn,
  heldBack,
  unchanged,
}: RecordChanges): readonly string[] {
  const noLonger = withdrawn.filter(({ reason }) => reason === 'not-in-store').length;
  const consent = withdrawn.length - noLonger;
  return [
    ...said(fresh.length, (who) => `${who} will be sent for the first time.`),
    ...said(
      changed.length,
      (who) => `${who} will be sent again, because something changed here or in the study definition.`,
    ),
    ...said(unchanged.length, (who) => `${who} ${unchanged.length === 1 ? 'is' : 'are'} in the pool as now.`),
    ...said(
      conflicts.length,
      (who) =>
        `${who} ${conflicts.length === 1 ? 'was' : 'were'} sent otherwise by another desktop of your clinic. Nothing of ` +
        `${conflicts.length === 1 ? 'this patient' : 'them'} is sent until you have chosen.`,
    ),
    ...said(
      consent,
      (who) => `${who} will be withdrawn, because consent is gone. A withdrawal cannot be undone.`,
    ),
    ...said(
      noLonger,
      (who) =>
        `${who} in the pool ${noLonger === 1 ? 'is' : 'are'} not among your records. The pool keeps what it has of them ` +
        'unless you withdraw them.',
    ),
    ...said(
      heldBack.length,
      (who) => `${who} cannot be sent as recorded now. The pool keeps what it has of them.`,
    ),
  ];
}

function said(count: number, sentence: (who: string) => string): string[] {
  return count === 0 ? [] : [sentence(patientsText(count))];
}

/** Said first wherever records leave that others will read row by row. */
export const SHARED_SENTENCE =
  'The other clinics of the study and its coordinator will read the records that leave, row by row, under their pseudonyms.';

function leavesWords(
  { records }: ClinicContribution,
  { measures, recordsShared }: StudyDefinition,
): string[] {
  const treated = records.filter(({ group }) => group === 'treated').length;
  const visits = records.reduce((sum, record) => sum + record.visits.length, 0);
  if (records.length === 0) return ['Nothing leaves: no patient can be contributed.'];
  return [
    ...(recordsShared ? [SHARED_SENTENCE] : []),
    `Records of ${countText(treated)} treated and ${countText(records.length - treated)} untreated patients leave, ` +
      `with ${countText(visits)} ${visits === 1 ? 'visit' : 'visits'}.`,
    'Of each patient: a random-looking pseudonym that only your clinic can trace, treated or not, sex, age in months, ' +
      "protocol if it is in the study's list, widening of the upper jaw, maturity at the start, and for how many years " +
      'follow-up was possible.',
    `Of each visit: its kind, the days from the end of active treatment (from the first visit in untreated children), and ` +
      `for ${measures.join(', ')} the mean at natural size with the number of films and readings behind it.`,
    'Events (treated again, withdrew, moved, declined) with their days.',
    'Of your clinic as a whole: the method error of each measure, and how many patients are not in it and why, small ' +
      'numbers withheld.',
  ];
}

function coarsenedWords(
  coarsening: readonly RecordCoarsening[],
  { coarsening: rules }: StudyDefinition,
): string[] {
  const count = (test: (one: RecordCoarsening) => boolean): number => coarsening.filter(test).length;
  const widest = coarsening.reduce((most, one) => Math.max(most, one.ageStepMonths), 0);
  const made = [
    ...said(
      count((one) => one.ageStepMonths > rules.ageStepMonths),
      (who) => `Age is given in wider bands, up to ${monthsText(widest)}, for ${who}.`,
    ),
    ...said(
      count(({ maturity }) => maturity === 'group-only'),
      (who) => `Only the group of maturity is given, not the stage, for ${who}.`,
    ),
    ...said(
      count(({ maturity }) => maturity === 'removed'),
      (who) => `Maturity is not given for ${who}.`,
    ),
    ...said(
      count(({ expansion }) => expansion === 'removed'),
      (who) => `Widening of the upper jaw is not given for ${who}.`,
    ),
    ...said(
      count(({ protocol }) => protocol === 'removed'),
      (who) => `Protocol is not given for ${who}.`,
    ),
  ];
  const days = rules.dayStep === 1 ? 'Days are exact.' : `Days are rounded to steps of ${rules.dayStep}.`;
  const ages = `Ages are the middle of bands of ${monthsText(rules.ageStepMonths)}. ${days}`;
  const why =
    made.length === 0
      ? `Nobody had to be made less precise than that: at least ${rules.smallestGroup} patients share each combination of ` +
        'sex, age, protocol, widening and maturity, or nothing more could be taken away.'
      : `Where fewer than ${rules.smallestGroup} patients share sex, age, protocol, widening and maturity:`;
  return coarsening.length === 0 ? [] : [ages, why, ...made];
}

function monthsText(months: number): string {
  return months === 1 ? '1 month' : `${months} months`;
}

function staysHomeWords({ notUsed }: ClinicContribution): string[] {
  const items = (count: number, one: string, many: string, why: string): string[] =>
    count === 0
      ? []
      : [
          `${countText(count)} ${count === 1 ? one : many} ${count === 1 ? 'stays' : 'stay'} at home: ${why}.`,
        ];
  return [
    'Names, your patient codes, birth dates, every calendar date, examiners, film numbers, film factors and all images ' +
      'stay at home.',
    ...items(
      notUsed.protocolsNotListed,
      'protocol',
      'protocols',
      "not in the study's list, so the patient leaves without one",
    ),
    ...items(notUsed.valuesWithoutFactor, 'length', 'lengths', 'the enlargement of the film is not known'),
    ...items(notUsed.valuesWithoutAge, 'value', 'values', 'the age at the visit is not known'),
    ...items(notUsed.visitsNotPlaced, 'visit', 'visits', 'the time since active treatment is not known'),
    ...items(notUsed.eventsNotPlaced, 'event', 'events', 'the time since active treatment is not known'),
    ...items(
      notUsed.visitsTooEarly,
      'visit',
      'visits',
      'before the start, or in the course of treatment, where no answer uses them',
    ),
  ];
}

function riskWords({ risk }: ClinicContribution, { coarsening }: StudyDefinition): string[] {
  const { records, smallestGroup, inSmallGroups, highestRisk, meanRisk, uniqueVisitDays, uniqueValues } =
    risk;
  if (smallestGroup === null || highestRisk === null || meanRisk === null) return [];
  return [
    `Someone who knows a patient's sex, age, protocol, widening and maturity, and that the patient is in it, would pick ` +
      `the right record with a chance of ${percentText(meanRisk)} on average and ${percentText(highestRisk)} at worst: ` +
      `the smallest group is ${patientsText(smallestGroup)}.`,
    ...said(
      inSmallGroups,
      (who) =>
        `${who} ${inSmallGroups === 1 ? 'is' : 'are'} in groups of fewer than ${coarsening.smallestGroup}, because sex and ` +
        'whether treated are never taken away and no age band is wider than 24 months.',
    ),
    `${countText(uniqueVisitDays)} of ${countText(records)} have a pattern of visit days that nobody else has: whoever ` +
      'knows the days of their visits can find them.',
    `${countText(uniqueValues)} of ${countText(records)} have measured values that nobody else has: whoever holds the ` +
      'measurements can find them. Coarsening does not change that; access and agreement must.',
    'When patients come or go, groups change and records may be sent again more or less precise. Whoever kept earlier ' +
      'versions may learn a little from the difference.',
  ];
}

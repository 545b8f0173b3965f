import {
  meanYearsText,
  baselineText,
  groupCountsText,
  RULE_WORDS,
  type BaselineRow,
  type BoundedSurvival,
  type CompetingYear,
  type GroupingTest,
  type GroupRatio,
  type GroupSurvival,
  type SurvivalAnswer,
  type SurvivalAtYear,
  type SurvivalGroupsAnswer,
  GROUPING_WORDS,
} from '@longhold/core/answers';
import {
  countColumn,
  formatNumber,
  formatOr,
  formatP,
  formatRatio,
  formatShare,
  formatShareLimits,
  formatSigned,
  NO_VALUE,
  RULE_CHOICES,
  type Column,
} from '@longhold/ui';

/** Whole years that are customarily reported. */
export const CUSTOMARY_YEARS = [1, 2, 3, 5, 10] as const;

/** A column for each customary year: share still with the gain, its interval, and how many are at risk. */
function survivalYearColumns<Row extends { readonly atYears: readonly SurvivalAtYear[] }>(): Column<Row>[] {
  return CUSTOMARY_YEARS.map((year) => ({
    key: `year-${year}`,
    label: `Year ${year}`,
    text: ({ atYears }) => {
      const at = atYears.find((row) => row.year === year);
      if (at?.estimate == null) return 'nobody followed';
      return `${formatShare(at.estimate)} (${formatOr(at.limits, formatShareLimits)}; ${at.atRisk})`;
    },
    numeric: true,
  }));
}

type RuleRow = SurvivalAnswer['byRule'][number];

/** Survival at the customary years under each loss rule. */
export const ruleColumns: readonly Column<RuleRow>[] = [
  { key: 'rule', label: 'A loss is', text: ({ rule }) => RULE_CHOICES[rule], heading: true },
  countColumn('losses', 'Losses', ({ losses }) => losses),
  ...survivalYearColumns<RuleRow>(),
];

/** A rule's meaning in a sentence. */
export function ruleMeaning({ rule }: RuleRow): string {
  return RULE_WORDS[rule];
}

/** Survival of each group at the customary years. */
export const groupColumns: readonly Column<GroupSurvival>[] = [
  { key: 'label', label: 'Group', text: ({ label }) => label, heading: true },
  countColumn('patients', 'Patients', ({ patients }) => patients),
  countColumn('losses', 'Losses', ({ losses }) => losses),
  ...survivalYearColumns<GroupSurvival>(),
];

/** Columns of the mean years with the gain, and how far they are from those of the reference group. */
export function groupMeanColumns({
  reference,
  meanDifferences,
}: SurvivalGroupsAnswer): readonly Column<GroupSurvival>[] {
  return [
    { key: 'label', label: 'Group', text: ({ label }) => label, heading: true },
    countColumn('patients', 'Patients', ({ patients }) => patients),
    {
      key: 'mean',
      label: 'Mean years with the gain',
      text: ({ restrictedMean }) => formatOr(restrictedMean, meanYearsText),
      numeric: true,
    },
    {
      key: 'difference',
      label: `More than ${reference ?? 'the largest group'}`,
      text: ({ label }) =>
        formatOr(meanDifferences.find((one) => one.label === label) ?? null, meanYearsText),
      numeric: true,
    },
  ];
}

/** One ratio of one model. */
export interface RatioRow extends GroupRatio {
  readonly model: string;
}

export const ratioColumns: readonly Column<RatioRow>[] = [
  { key: 'model', label: 'Model', text: ({ model }) => model },
  { key: 'label', label: 'Group', text: ({ label }) => label, heading: true },
  { key: 'ratio', label: 'Ratio', text: ({ estimate }) => formatRatio(estimate), numeric: true },
  {
    key: 'limits',
    label: 'Interval',
    text: ({ limits }) => `${formatRatio(limits.lower)} to ${formatRatio(limits.upper)}`,
    numeric: true,
  },
  { key: 'p', label: 'p', text: ({ p }) => formatP(p), numeric: true },
];

/** Every grouping with its test. */
export const groupingColumns: readonly Column<GroupingTest>[] = [
  {
    key: 'grouping',
    label: 'Patients divided by',
    text: ({ grouping }) => GROUPING_WORDS[grouping],
    heading: true,
  },
  {
    key: 'groups',
    label: 'Groups (losses of patients)',
    text: groupCountsText,
  },
  countColumn('unknown', 'Not recorded', ({ unknown }) => unknown),
  {
    key: 'statistic',
    label: 'Chi-squared (df)',
    text: ({ test }) => formatOr(test, ({ statistic, df }) => `${formatNumber(statistic, 2)} (${df})`),
    numeric: true,
  },
  {
    key: 'p',
    label: 'p',
    text: ({ test, why }) => (test === null ? (why ?? NO_VALUE) : formatP(test.p)),
    numeric: true,
  },
  {
    key: 'holm',
    label: 'p, corrected for all',
    text: ({ adjustedP }) => formatOr(adjustedP, formatP),
    numeric: true,
  },
];

/** Cumulative incidences at the customary years. */
export const competingColumns: readonly Column<CompetingYear>[] = [
  { key: 'year', label: 'Year', text: ({ year }) => String(year), heading: true, unbroken: true },
  countColumn('atRisk', 'At risk', ({ atRisk }) => atRisk),
  incidenceColumn('lost', 'Gain found lost', ({ lost }) => lost),
  incidenceColumn('again', 'Treated again first', ({ treatedAgain }) => treatedAgain),
  incidenceColumn('neither', 'Neither', ({ neither }) => neither),
];

function incidenceColumn(
  key: string,
  label: string,
  of: (row: CompetingYear) => CompetingYear['lost'],
): Column<CompetingYear> {
  return {
    key,
    label,
    text: (row) => {
      const { probability, lower, upper } = of(row);
      if (probability === null) return 'nobody followed';
      const limits = lower === null || upper === null ? '' : ` (${formatShareLimits({ lower, upper })})`;
      return `${formatShare(probability)}${limits}`;
    },
    numeric: true,
  };
}

/** Bounds at whole years. */
export const boundColumns: readonly Column<BoundedSurvival>[] = [
  { key: 'year', label: 'Year', text: ({ years }) => String(years), heading: true, unbroken: true },
  {
    key: 'worst',
    label: 'All who stayed away lost it',
    text: ({ worst }) => formatShare(worst),
    numeric: true,
  },
  { key: 'estimate', label: 'As estimated', text: ({ estimate }) => formatShare(estimate), numeric: true },
  { key: 'best', label: 'All of them kept it', text: ({ best }) => formatShare(best), numeric: true },
];

/** Seen and unseen side by side. */
export const baselineColumns: readonly Column<BaselineRow>[] = [
  { key: 'name', label: 'At the end of treatment or before', text: ({ name }) => name, heading: true },
  {
    key: 'seen',
    label: 'Seen',
    text: (row) => `${baselineText(row, row.seen.value)} (${row.seen.n})`,
    numeric: true,
  },
  {
    key: 'unseen',
    label: 'Not seen',
    text: (row) => `${baselineText(row, row.unseen.value)} (${row.unseen.n})`,
    numeric: true,
  },
  {
    key: 'difference',
    label: 'Difference (interval)',
    text: (row) =>
      `${baselineText(row, row.difference)} (${baselineText(row, row.limits.lower)} to ${baselineText(row, row.limits.upper)})`,
    numeric: true,
  },
  {
    key: 'standardised',
    label: 'In standard deviations',
    text: ({ standardised }) => formatOr(standardised, (value) => formatSigned(value, 2)),
    numeric: true,
  },
];

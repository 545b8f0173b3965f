import { maturityGroupOf, type MaturityGroup } from '../records';
import type { Unit } from '../measures/definition';
import type { PatientOutcome } from './answer';
import { measureText } from './number-text';
import type { Grouping } from './question';

/** The groupings in the order in which they are listed. */
export const GROUPINGS: readonly Grouping[] = ['protocol', 'expansion', 'sex', 'maturity', 'gain'];

/** Groupings as they are written. */
export const GROUPING_WORDS: Readonly<Record<Grouping, string>> = {
  protocol: 'Treatment protocol',
  expansion: 'Widening of the upper jaw',
  sex: 'Sex',
  maturity: 'Maturity at the start',
  gain: 'Size of the gain of treatment',
};

/** By what each grouping divides patients, as it stands after its name and a colon; where gains are divided says `dividingGainText`. */
export const GROUPING_DEFINITIONS: Readonly<Record<Grouping, string>> = {
  protocol: "by the clinic's own code of the treatment protocol.",
  expansion: 'by whether the upper jaw was widened.',
  sex: 'by sex as recorded.',
  maturity:
    'by the stage of cervical vertebral maturation at the start: CS1 and CS2 before the peak of growth, CS3 and CS4 around it, CS5 and CS6 after it.',
  gain: 'by the size of the gain of treatment, divided at the median of the patients in the survival curve.',
};

/** Where gains are divided, in a sentence: `Gains of 3.12 mm (the median) and more count as larger.` */
export function dividingGainText(dividingGain: number, unit: Unit): string {
  return `Gains of ${measureText(dividingGain, unit, 2)} (the median) and more count as larger.`;
}

/** Groups of maturity as they are written. */
export const MATURITY_WORDS: Readonly<Record<MaturityGroup, string>> = {
  'before-peak': 'Before the peak of growth (CS1, CS2)',
  'around-peak': 'Around the peak (CS3, CS4)',
  'after-peak': 'After the peak (CS5, CS6)',
};

const EXPANSION_LABELS = { widened: 'Upper jaw widened', notWidened: 'Upper jaw not widened' } as const;
const SEX_LABELS = { female: 'Girls', male: 'Boys' } as const satisfies Record<PatientOutcome['sex'], string>;
const GAIN_LABELS = { larger: 'Larger gain', smaller: 'Smaller gain' } as const;

/**
 * Every group that a grouping can give, as it is written.
 *
 * @param protocols the protocols by which patients may be grouped
 */
export function groupLabels(grouping: Grouping, protocols: readonly string[]): readonly string[] {
  switch (grouping) {
    case 'protocol':
      return protocols;
    case 'expansion':
      return Object.values(EXPANSION_LABELS);
    case 'sex':
      return Object.values(SEX_LABELS);
    case 'maturity':
      return Object.values(MATURITY_WORDS);
    case 'gain':
      return Object.values(GAIN_LABELS);
  }
}

/**
 * The group of a patient, as it is written; null where it is not recorded.
 *
 * @param dividingGain the gain from which on a gain counts as larger
 */
export function groupLabel(
  outcome: Pick<PatientOutcome, 'protocol' | 'expansion' | 'sex' | 'maturityStart' | 'gain'>,
  grouping: Grouping,
  dividingGain: number,
): string | null {
  switch (grouping) {
    case 'protocol':
      return outcome.protocol;
    case 'expansion':
      if (outcome.expansion === null) return null;
      return outcome.expansion ? EXPANSION_LABELS.widened : EXPANSION_LABELS.notWidened;
    case 'sex':
      return SEX_LABELS[outcome.sex];
    case 'maturity':
      return outcome.maturityStart === null ? null : MATURITY_WORDS[maturityGroupOf(outcome.maturityStart)];
    case 'gain':
      if (outcome.gain === null) return null;
      return outcome.gain.estimate >= dividingGain ? GAIN_LABELS.larger : GAIN_LABELS.smaller;
  }
}

/** The median gain of treatment, which divides smaller from larger gains; NaN for nobody. */
export function medianGain(outcomes: readonly Pick<PatientOutcome, 'gain'>[]): number {
  const gains = outcomes.flatMap(({ gain }) => (gain === null ? [] : [gain.estimate])).sort((a, b) => a - b);
  const upper = gains[Math.floor(gains.length / 2)] ?? NaN;
  const lower = gains[Math.ceil(gains.length / 2) - 1] ?? NaN;
  return (lower + upper) / 2;
}

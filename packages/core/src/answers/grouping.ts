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
      return outcome.expansion ? 'Upper jaw widened' : 'Upper jaw not widened';
    case 'sex':
      return outcome.sex === 'female' ? 'Girls' : 'Boys';
    case 'maturity':
      return outcome.maturityStart === null ? null : MATURITY_WORDS[maturityGroupOf(outcome.maturityStart)];
    case 'gain':
      if (outcome.gain === null) return null;
      return outcome.gain.estimate >= dividingGain ? 'Larger gain' : 'Smaller gain';
  }
}

/** The median gain of treatment, which divides smaller from larger gains; NaN for nobody. */
export function medianGain(outcomes: readonly Pick<PatientOutcome, 'gain'>[]): number {
  const gains = outcomes.flatMap(({ gain }) => (gain === null ? [] : [gain.estimate])).sort((a, b) => a - b);
  const upper = gains[Math.floor(gains.length / 2)] ?? NaN;
  const lower = gains[Math.ceil(gains.length / 2) - 1] ?? NaN;
  return (lower + upper) / 2;
}

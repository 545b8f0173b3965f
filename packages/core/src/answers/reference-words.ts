import type { MeasureDefinition } from '../measures';
import { ENOUGH_TO_COMPARE } from './compared-answer';
import { countText, measureText, patientsText, percentText } from './number-text';
import type { ReferenceResults, ReferenceRow } from './reference-comparison-answer';
import type { SensitivityAnswer } from './sensitivity-answer';
import { LEFT_OUT_WORDS } from './words';

type Compared = Pick<SensitivityAnswer, 'references' | 'retainedYear'>;
type Used = ReferenceRow & { readonly results: ReferenceResults };

/** How far the answer hangs on the growth reference, in one to three sentences. */
export function referenceSentence(
  { references, retainedYear }: Compared,
  { code, unit }: MeasureDefinition,
): string {
  if (!references.needed)
    return `${code} does not grow without treatment, so the answer hangs on no growth reference.`;
  const used = references.rows.flatMap((row): Used[] =>
    row.results === null ? [] : [{ ...row, results: row.results }],
  );
  const unusable = references.rows.filter(({ results }) => results === null);
  const not =
    unusable.length === 0
      ? ''
      : ` Not to be used: ${unusable.map(({ label }) => inSentence(label)).join('; ')}.`;
  if (used.length === 0) return `No growth reference can be used here.${not}`;
  if (used.length === 1) {
    return `Only one growth reference can be used here, so how far the answer hangs on it cannot be shown.${not}`;
  }
  const parts = [
    retainedYear === null
      ? ''
      : rangeText(
          used,
          ({ retained }) => (retained === null || retained.n < ENOUGH_TO_COMPARE ? null : retained.estimate),
          (low, high) => `the share kept at year ${retainedYear} goes from ${low} to ${high}`,
          percentText,
        ),
    rangeText(
      used,
      ({ lasting }) => lasting?.estimate ?? null,
      (low, high) => `the lasting gain from ${low} to ${high}`,
      (value) => measureText(value, unit),
    ),
  ].filter((part) => part !== '');
  if (parts.length === 0)
    return `Too few patients were followed to set the results under ${countText(used.length)} growth references against each other.${not}`;
  return `The answer hangs on the growth reference: ${parts.join(', ')}.${not}`;
}

/** A label as it stands inside a sentence. */
function inSentence(label: string): string {
  return label.charAt(0).toLowerCase() + label.slice(1);
}

function rangeText(
  used: readonly Used[],
  read: (results: ReferenceResults) => number | null,
  sentence: (low: string, high: string) => string,
  write: (value: number) => string,
): string {
  const found = used.flatMap(({ label, results }) => {
    const value = read(results);
    return value === null ? [] : [{ label: inSentence(label), value }];
  });
  if (found.length < 2) return '';
  const low = found.reduce((a, b) => (b.value < a.value ? b : a));
  const high = found.reduce((a, b) => (b.value > a.value ? b : a));
  return sentence(`${write(low.value)} (${low.label})`, `${write(high.value)} (${high.label})`);
}

/**
 * What is to be known of one reference beside its results: why it cannot be used, or who drops out under it and why it
 * has no lasting gain, in a sentence; null for nothing.
 */
export function referenceRemark({ label, results, why }: ReferenceRow): string | null {
  const words = [why, results === null ? null : droppedText(results), results?.lastingRefused ?? null]
    .flatMap((part) => (part === null ? [] : [part.replace(/\.$/, '')]))
    .join('. ');
  return words === '' ? null : `${label}: ${words}.`;
}

/** Who drops out under a reference, and who comes in, in words; null where it reads the same patients. */
export function droppedText({ dropsOut, comesIn, notCovered, notPlaced }: ReferenceResults): string | null {
  const parts = [
    ...dropsOut.map(
      ({ reason, codes }) => `${patientsText(codes.length)}: ${LEFT_OUT_WORDS[reason].toLowerCase()}`,
    ),
    ...(notCovered.length === 0
      ? []
      : [`${patientsText(notCovered.length)} not covered in the year of the share kept`]),
    ...(notPlaced.length === 0
      ? []
      : [`${patientsText(notPlaced.length)} without a placed stage, read by age`]),
    ...(comesIn.length === 0 ? [] : [`${patientsText(comesIn.length)} more in the curve`]),
  ];
  return parts.length === 0 ? null : parts.join('; ');
}

import { countText, percentText } from './number-text';
import type { SensitivityAnswer, SensitivityRow } from './sensitivity-answer';

/** How far the main results hold when one thing is done differently, in one to three sentences. */
export function sensitivitySentence(answer: SensitivityAnswer): string {
  // Rule, threshold and method error do not enter the lasting gain, so they cannot speak for it.
  const others = answer.rows.filter(
    ({ inForce, aspect }) => !inForce && (aspect === 'reference' || aspect === 'clock'),
  );
  const known = others.filter(({ lasting }) => lasting?.limits != null);
  const holds = known.filter(({ lasting }) => (lasting?.limits?.lower ?? 0) > 0);
  const lasting =
    known.length === 0
      ? 'No other growth reference or clock can say whether something lasts.'
      : `That something lasts is shown under ${countText(holds.length)} of ${countText(known.length)} other growth references and clocks${failing(known, holds)}.`;
  return [lasting, rangeText(answer.rows, answer)].filter((part) => part !== '').join(' ');
}

function failing(known: readonly SensitivityRow[], holds: readonly SensitivityRow[]): string {
  const not = known.filter((row) => !holds.includes(row)).map(({ choice }) => choice.toLowerCase());
  return not.length === 0 ? '' : `; not with: ${not.join(', ')}`;
}

function rangeText(
  rows: readonly SensitivityRow[],
  { retainedYear, survivalYear }: SensitivityAnswer,
): string {
  // Other patients, and bounds, are not other answers to the same question.
  const compared = rows.filter(({ aspect }) => aspect !== 'protocol' && aspect !== 'absence');
  const shares = compared.flatMap(({ retained }) => (retained === null ? [] : [retained.estimate]));
  const survivals = compared
    .filter(({ aspect }) => aspect !== 'threshold')
    .flatMap(({ survival }) => (survival?.estimate == null ? [] : [survival.estimate]));
  const share =
    retainedYear === null || shares.length === 0
      ? ''
      : `The retained share at year ${retainedYear} lies between ${percentText(Math.min(...shares))} and ${percentText(Math.max(...shares))}.`;
  const survival =
    survivalYear === null || survivals.length === 0
      ? ''
      : `Under the same threshold between ${percentText(Math.min(...survivals))} and ${percentText(Math.max(...survivals))} still have the gain at year ${survivalYear}.`;
  return [share, survival].filter((part) => part !== '').join(' ');
}

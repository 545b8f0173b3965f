import { countText, percentText } from './number-text';
import type { SensitivityAnswer, SensitivityRow } from './sensitivity-answer';

/** How far the main results hold when one thing is done differently, in one to three sentences. */
export function sensitivitySentence(answer: SensitivityAnswer): string {
  const others = answer.rows.filter(({ inForce, aspect }) => !inForce && aspect !== 'protocol');
  const known = others.filter(({ lasting }) => lasting?.limits != null);
  const holds = known.filter(({ lasting }) => (lasting?.limits?.lower ?? 0) > 0);
  const lasting =
    known.length === 0
      ? 'Whether something lasts cannot be said under any of the other choices.'
      : `That something lasts is shown under ${countText(holds.length)} of ${countText(known.length)} other choices${failing(known, holds)}.`;
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
  const compared = rows.filter(({ aspect }) => aspect !== 'protocol');
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

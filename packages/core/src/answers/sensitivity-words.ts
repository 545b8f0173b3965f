import { ENOUGH_TO_COMPARE } from './compared-answer';
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

/** A result of one row and on how many patients it rests. */
interface Rested {
  readonly choice: string;
  readonly estimate: number;
  readonly patients: number;
}

/** How far the results reach over the rows with patients enough, and which rows were left out for want of them. */
function rangeText(
  rows: readonly SensitivityRow[],
  { retainedYear, survivalYear }: SensitivityAnswer,
): string {
  // Other patients, and bounds, are not other answers to the same question.
  const compared = rows.filter(({ aspect }) => aspect !== 'protocol' && aspect !== 'absence');
  const shares = compared.flatMap(({ choice, retained }): Rested[] =>
    retained === null ? [] : [{ choice, estimate: retained.estimate, patients: retained.n }],
  );
  const survivals = compared
    .filter(({ aspect }) => aspect !== 'threshold')
    .flatMap(({ choice, survival }): Rested[] =>
      survival?.estimate == null ? [] : [{ choice, estimate: survival.estimate, patients: survival.atRisk }],
    );
  return [
    retainedYear === null
      ? ''
      : spanText(
          shares,
          (low, high) => `The retained share at year ${retainedYear} lies between ${low} and ${high}.`,
          'seen',
        ),
    survivalYear === null
      ? ''
      : spanText(
          survivals,
          (low, high) =>
            `Under the same threshold between ${low} and ${high} still have the gain at year ${survivalYear}.`,
          'still followed',
        ),
  ]
    .filter((part) => part !== '')
    .join(' ');
}

function spanText(
  found: readonly Rested[],
  sentence: (low: string, high: string) => string,
  what: string,
): string {
  const enough = found.filter(({ patients }) => patients >= ENOUGH_TO_COMPARE);
  const few = found.filter(({ patients }) => patients < ENOUGH_TO_COMPARE);
  const named = few.map(({ choice, patients }) => `${choice} (${countText(patients)})`).join(', ');
  const leftOut =
    few.length === 0 ? '' : `Left out of this range, with fewer than ${ENOUGH_TO_COMPARE} ${what}: ${named}.`;
  const values = enough.map(({ estimate }) => estimate);
  const range =
    values.length === 0 ? '' : sentence(percentText(Math.min(...values)), percentText(Math.max(...values)));
  return [range, leftOut].filter((part) => range !== '' && part !== '').join(' ');
}

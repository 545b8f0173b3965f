import { formatChange, formatNoun, formatNumber, NO_VALUE, type Column } from '@longhold/ui';
import type { Unit } from '@longhold/core/measures';
import type { RecallRow, RecallWorthList, Worth } from '../state/host';
import type { WorthLeftOut } from '@longhold/core/answers';

/** Below this share of the variance a visit is said to teach next to nothing. */
const NEXT_TO_NOTHING = 0.001;

/** A patient's worth by code. */
export function worthByCode(worth: readonly Worth[]): ReadonlyMap<string, Worth> {
  return new Map(worth.map((one) => [one.code, one]));
}

/** By how much one more visit now would narrow the lasting gain of the group. */
export function worthColumn(worth: ReadonlyMap<string, Worth>): Column<RecallRow> {
  return {
    key: 'worth',
    label: 'A visit now would narrow the interval of the lasting gain by',
    text: ({ code }) => worthText(worth.get(code)),
    order: ({ code }) => worth.get(code)?.fall ?? null,
    numeric: true,
  };
}

/** The worth in words: a share of the interval's width, or that there is next to nothing to learn. */
export function worthText(worth: Worth | undefined): string {
  if (worth === undefined) return NO_VALUE;
  return worth.fall < NEXT_TO_NOTHING
    ? 'next to nothing'
    : `${formatNumber(100 * (1 - worth.reachThen / worth.reachNow), 2)}\u00a0%`;
}

/** What the most instructive visit would do, in a sentence; null for nobody. */
export function worthSentence(worth: readonly Worth[], measure: string, unit: Unit): string | null {
  const [most] = worth;
  if (most === undefined) return null;
  const little = worth.filter(({ fall }) => fall < NEXT_TO_NOTHING).length;
  const spared = little === 0 ? '' : ` ${little} of ${worth.length} would teach next to nothing about it.`;
  return `For the lasting gain in ${measure} a visit of ${most.code} now would teach most: it would narrow the interval from ±${reach(most.reachNow, unit)} to ±${reach(most.reachThen, unit)}.${spared}`;
}

const NOT_WEIGHED_WORDS: Readonly<Record<WorthLeftOut, string>> = {
  'no-consent': 'no consent for follow-up',
  withdrew: 'withdrew',
  moved: 'moved away',
  declined: 'declined further recalls',
  'treated-again': 'treated again',
  'no-gain': 'no gain of treatment to follow',
  'no-date': 'date of birth or of the end of treatment not known',
  'beyond-reference': 'older than the growth reference reaches',
};

/** Whose visit is not weighed and why, counted; null for nobody. */
export function notWeighedSentence(leftOut: RecallWorthList['leftOut']): string | null {
  const count = leftOut.reduce((sum, { codes }) => sum + codes.length, 0);
  if (count === 0) return null;
  const reasons = leftOut.map(({ reason, codes }) => `${NOT_WEIGHED_WORDS[reason]} ${codes.length}`);
  return `Not weighed: ${formatNoun(count, 'patient')} (${reasons.join(', ')}).`;
}

function reach(value: number, unit: Unit): string {
  return formatChange(value, unit, 3).replace('+', '');
}

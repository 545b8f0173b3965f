import { countText } from '@longhold/core/answers';
import { centreName } from '@longhold/core/exchange';
import { bestPlace, patientRangeText, quantitySentences } from '@longhold/core/pooled';
import type { NoPoolReason, PoolOfMeasure } from './pool-of-measure';

/** Why a report shows nothing of a pool, in a sentence each. */
const NO_POOL_WORDS: Readonly<Record<NoPoolReason, string>> = {
  'left-out': 'What a pool of clinics says was left out of this report by whoever had it written.',
  'not-linked':
    'This store is linked to no study of several clinics, so no pooled answer stands beside this one.',
  'no-reply':
    'This store is linked to a study of several clinics, but its pooling service gave no answer when this report was written.',
  refused:
    'This store is linked to a study of several clinics, but its pooling service refused to answer when this report was written.',
  'nothing-contributed':
    'This store is linked to a study of several clinics, but no centre has contributed under its definition yet.',
  restored:
    'This store is linked to a study of several clinics, but its pooling service was restored from a backup and had heard no centre since when this report was written.',
  computing:
    'This store is linked to a study of several clinics; its pooled answer was still being computed when this report was written.',
  'too-few-changes':
    'This store is linked to a study of several clinics; its pooled answer waits until enough patients have come or changed, since two answers that differ by a few would give those away.',
  'not-in-definition': 'The study group does not ask about this measure, so there is no pooled answer to it.',
  withheld:
    'The study group asks about this measure, but every result is withheld: too few patients or centres stand behind each, or it would give another number away.',
};

/** Whether there is a pooled answer, and what it says first, in a sentence or two. */
export function poolSentence(pool: PoolOfMeasure | NoPoolReason): string {
  if (typeof pool === 'string') return NO_POOL_WORDS[pool];
  const { measure, level } = pool;
  const retained = measure.quantities.filter(({ kind }) => kind === 'retained-share');
  const first = retained[bestPlace(retained)] ?? measure.quantities[0];
  const says =
    first === undefined ? [] : quantitySentences(first, { measure: measure.measure, level }).slice(0, 1);
  return [`The pool of ${countText(pool.centres)} centres.`, ...says].join(' ');
}

/** Which answer of the pool it is, who is in it, and whether it is the latest. */
export function releaseSentences({
  release,
  definitionVersion,
  centres,
  patients,
  newer,
  role,
}: PoolOfMeasure): string[] {
  const part = role === 'centre' ? 'takes part as a centre' : `is that of a ${role}`;
  return [
    `Answer number ${countText(release)} of the pool, by version ${countText(definitionVersion)} of the study definition: ${countText(centres)} ${centres === 1 ? 'centre' : 'centres'}, ${patientRangeText(patients)}. This store ${part}.`,
    newer
      ? 'Something was sent since that is not in it: the next answer is made once enough patients have come or changed.'
      : 'Everything that was sent is in it.',
  ];
}

/** What a centre is called in a report. */
export function centreNamer({
  ownCentre,
  numbers,
}: Pick<PoolOfMeasure, 'ownCentre' | 'numbers'>): (centre: string) => string {
  return (centre) => (centre === ownCentre ? 'This clinic' : centreName(centre, null, numbers));
}

import {
  countText,
  measureText,
  numberText,
  patientsText,
  percentText,
  levelText,
  pEqualsText,
  ratioIntervalText,
} from '../answers';
import { findMeasure, type Unit } from '../measures';
import { isRefusal } from '../numeric';
import type { Limits, PoolingWarning } from '../pooling';
import type { RatioInterval } from '../ratio';
import type { CarriedInPool } from './carried-centres';
import { FEW_CENTRES } from './shown-precision';
import type { QuantityKind, ShownCount, ViewedMean, ViewedMeasure, ViewedQuantity } from './view';

/** What is said beside a mean over centres. */
const WARNING_WORDS: Readonly<Record<PoolingWarning, string>> = {
  'one-degree-of-freedom':
    'Two centres say almost nothing about other centres: the interval is as wide as it looks.',
  'floor-applied':
    'The centres scatter less than their errors and the spread between them would have it; the interval was not made narrower for that.',
  'shorter-than-wald': 'The interval is shorter than one that takes the spread between centres as known.',
  'too-alike':
    'The centres lie closer together than their own errors allow: look for errors that are too large, or for patients counted twice.',
  'no-scatter': 'The centres do not differ at all.',
  'carried-by-few':
    'Few centres carry most of the weight; if centres differ more than was seen, the interval is too short.',
  'several-modes': 'The spread between centres has more than one likely value; the likeliest was taken.',
};

/** What is said of a mean over centres beside it, in a sentence. */
export function warningWords(warning: PoolingWarning): string {
  return WARNING_WORDS[warning];
}

/** One quantity in one to four sentences: the mean over centres first, with its interval, patients and centres. */
export function quantitySentences(
  quantity: ViewedQuantity,
  { measure, level }: { readonly measure: string; readonly level: number },
): string[] {
  const unit = findMeasure(measure)?.unit ?? 'mm';
  const { patients, twoStage, oneStage, between, own } = quantity;
  const what = pooledSubject(quantity);
  if (between !== null) {
    return [
      `${what}: between ${percentText(between.lower)} and ${percentText(between.upper)} of all patients taken as one series. Too few had lost the gain by then for more to be told.`,
      ...ownSentence(quantity, unit, level),
    ];
  }
  if (twoStage === null) {
    return [
      `${what}: withheld, because too few patients or centres stand behind it.`,
      ...ownSentence(quantity, unit, level),
    ];
  }
  const sentences = isRefusal(twoStage)
    ? [`${what}: no mean over centres. ${twoStage.message}`]
    : meanSentences(quantity.kind, what, twoStage, patients, unit, level);
  if (oneStage !== null && !isRefusal(oneStage)) {
    sentences.push(
      `All patients taken as one series give ${pooledValueText(quantity.kind, oneStage.estimate, unit)} (${levelText(level)} interval ${pooledIntervalText(quantity.kind, oneStage.interval, unit)}${patients === null ? '' : `, ${behindText(quantity.kind, patients)}`}).`,
    );
  }
  return own === null ? sentences : [...sentences, ...ownSentence(quantity, unit, level)];
}

/** A curve rests on all who were followed; the number is of those still followed at its year. */
function behindText(kind: QuantityKind, patients: number): string {
  return kind === 'survival'
    ? `${countText(patients)} of the patients still followed then`
    : `${patientsText(patients)} behind it`;
}

function meanSentences(
  kind: QuantityKind,
  what: string,
  mean: ViewedMean,
  patients: ShownCount,
  unit: Unit,
  level: number,
): string[] {
  const value = (number: number): string => pooledValueText(kind, number, unit);
  const limits = ({ lower, upper }: Limits): string => `${value(lower)} to ${value(upper)}`;
  const sentences = [
    `${what}: ${value(mean.estimate)} (${levelText(level)} interval ${limits(mean.limits)}; ${countText(mean.centres)} centres, ${patients === null ? 'the number of patients withheld' : behindText(kind, patients)}).`,
  ];
  if (mean.prediction !== null)
    sentences.push(
      `In a further centre of this kind the true value is expected between ${limits(mean.prediction)}.`.replace(
        ' to ',
        ' and ',
      ),
    );
  sentences.push(...heterogeneitySentences(mean));
  if (mean.commonSd > 0)
    sentences.push(
      'What the shared growth table is uncertain by is in the interval; no number of centres averages it away.',
    );
  if (mean.iSquared === null)
    sentences.push(
      `How much the centres differ is withheld: with fewer than ${countText(FEW_CENTRES)} centres each could work out what the others sent.`,
    );
  else if (mean.centres < FEW_CENTRES)
    sentences.push(`With ${countText(mean.centres)} centres how much centres differ is hardly known.`);
  return [...sentences, ...mean.warnings.map(warningWords)];
}

function heterogeneitySentences({ iSquared, qP }: ViewedMean): string[] {
  if (iSquared === null || qP === null) return [];
  const share = `${percentText(iSquared)} of the variance of the centres' estimates lies between centres`;
  return [
    qP < 0.05
      ? `The centres differ beyond chance (${pEqualsText(qP)}): ${share}.`
      : `That the centres differ is not shown (${pEqualsText(qP)}): ${share}.`,
  ];
}

/** The viewer's own centre beside the pool; empty for others. */
function ownSentence({ own, kind }: ViewedQuantity, unit: Unit, level: number): string[] {
  return own === null
    ? []
    : [
        `This clinic alone: ${pooledValueText(kind, own.estimate, unit)} (${levelText(level)} interval ${pooledIntervalText(kind, own.interval, unit)}, ${patientsText(own.patients)}).`,
      ];
}

const PLAIN_SUBJECTS: Readonly<Record<Exclude<QuantityKind, 'retained-share' | 'survival'>, string>> = {
  lasting: 'Lasting gain',
  forward: 'Years by which growth was brought forward',
  'lasting-share': 'Share of the gain that lasts',
};

/** What a quantity is, in a few words. */
export function pooledSubject({ kind, year }: Pick<ViewedQuantity, 'kind' | 'year'>): string {
  if (kind === 'retained-share') return `Gain kept at year ${year ?? 0}`;
  if (kind === 'survival') return `Patients who still have the gain at year ${year ?? 0}`;
  return PLAIN_SUBJECTS[kind];
}

/** A value of a quantity as it is written: a share, years, or the measure's unit. */
export function pooledValueText(kind: QuantityKind, value: number, unit: Unit): string {
  if (kind === 'lasting') return measureText(value, unit);
  return kind === 'forward' ? `${numberText(value, 2)} years` : percentText(value);
}

/** An interval of a quantity as it is written; one that is not bounded says so. */
export function pooledIntervalText(kind: QuantityKind, interval: RatioInterval, unit: Unit): string {
  return interval.kind === 'bounded'
    ? `${pooledValueText(kind, interval.lower, unit)} to ${pooledValueText(kind, interval.upper, unit)}`
    : ratioIntervalText(interval);
}

/** Who is behind the pool of one measure and who is left out, and whether centres differ, in sentences. */
export function poolSentences({
  centres,
  treated,
  treatedBetween,
  inRiskSet,
  leftOut,
  survivalDifferences,
  carried,
}: ViewedMeasure): string[] {
  const known =
    treated === null
      ? `between ${countText(treatedBetween.lower)} and ${countText(treatedBetween.upper)} treated patients`
      : `${countText(treated)} treated patients`;
  const sentences = [`${countText(centres)} ${centres === 1 ? 'centre' : 'centres'} with ${known}.`];
  if (inRiskSet !== null)
    sentences.push(`${patientsText(inRiskSet)} can be followed for the loss of the gain.`);
  if (leftOut.some(({ patients }) => patients === null))
    sentences.push('Some reasons for being left out hold too few patients to be shown.');
  if (survivalDifferences !== null && !isRefusal(survivalDifferences)) {
    const { p } = survivalDifferences;
    sentences.push(
      p < 0.05
        ? `The gain is lost earlier in some centres than in others (${pEqualsText(p)}); that may be the patients, the treatment, or who was called back.`
        : `That some centres lose the gain earlier than others is not shown (${pEqualsText(p)}).`,
    );
  }
  return carried === undefined ? sentences : [...sentences, ...carriedSentences(carried, centres)];
}

/** What the intervals of survival hold beside what the patients leave open, and in how many centres that is not known. */
export function carriedSentences({ growthReference, methodError }: CarriedInPool, centres: number): string[] {
  const parts = [
    { name: 'expected growth', counts: growthReference },
    { name: 'the method error', counts: methodError },
  ];
  const held = parts.filter(({ counts }) => counts.carried > 0).map(({ name }) => name);
  const begin =
    'The intervals of survival and second treatments hold what the number of patients leaves open';
  return [
    held.length === 0 ? `${begin}.` : `${begin}, and how far ${held.join(' and ')} may be off.`,
    ...parts.flatMap(({ name, counts }) => notKnownSentence(name, counts['not-known'], centres) ?? []),
  ];
}

function notKnownSentence(name: string, notKnown: number, centres: number): string | null {
  if (notKnown === 0) return null;
  const where =
    notKnown === centres
      ? 'not known in any centre'
      : `not known in ${countText(notKnown)} of the ${countText(centres)} centres`;
  return `How far ${name} may be off is ${where}; as much as that matters the intervals are too narrow.`;
}

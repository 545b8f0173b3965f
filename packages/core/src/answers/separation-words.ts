import { isRefusal } from '../numeric';
import { PATIENTS_NEEDED, type Diagnosis } from '../separation';
import {
  countText,
  measureText,
  numberText,
  patientsText,
  percentText,
  ratioIntervalText,
} from './number-text';
import type { QuietAge, SeparationAnswer, TestedEstimate, TwoPartAnswer } from './separation-answer';
import type { OutcomeSummary } from './words';

/** Each reading as a heading of a few words. */
export const DIAGNOSIS_WORDS: Readonly<Record<Diagnosis, string>> = {
  lasting: 'Mostly lasting',
  'brought-forward': 'Mostly growth brought forward',
  both: 'Part lasting, part brought forward',
  'lasting-shown': 'Some of it lasts; the rest cannot be told yet',
  'forward-shown': 'Some was brought forward; the rest cannot be told yet',
  'cannot-tell': 'Cannot be told apart yet',
  'no-gain': 'No mean gain to split',
};

/** The same for a measure that does not grow, where the passing part is what fades with time. */
export const FADING_DIAGNOSIS_WORDS: Readonly<Record<Diagnosis, string>> = {
  lasting: 'Mostly lasting',
  'brought-forward': 'Mostly fading',
  both: 'Part lasting, part fading',
  'lasting-shown': 'Some of it lasts; the rest cannot be told yet',
  'forward-shown': 'Some of it fades; the rest cannot be told yet',
  'cannot-tell': 'Cannot be told apart yet',
  'no-gain': 'No mean gain to split',
};

/** The model that a separation is read from, or null where neither could be fitted. */
export function readTwoParts(separation: SeparationAnswer): TwoPartAnswer | null {
  const model = separation.readFrom === 'fading-part' ? separation.fadingPart : separation.growthClock;
  return separation.readFrom === null || isRefusal(model) ? null : model;
}

/** Lasting growth or growth brought forward, in one to three sentences with intervals and numbers. */
export function separationSentence(answer: OutcomeSummary): string {
  const { separation, measure } = answer;
  if (answer.reference.kind === 'none') {
    return `This cannot be answered for ${measure.code}: expected growth is not known. ${answer.reference.reason}`;
  }
  const read = readTwoParts(separation);
  if (read === null || separation.diagnosis === null) {
    const refusal = isRefusal(separation.growthClock) ? separation.growthClock.message : '';
    const other =
      answer.reference.kind === 'not-needed' && isRefusal(separation.fadingPart)
        ? separation.fadingPart.message
        : refusal;
    return `This cannot be answered yet. ${other}`;
  }
  return `${readingText(separation, separation.diagnosis)} ${partsText(answer, read)} ${patientsText(separation.patients)}, ${countText(separation.followed)} of them seen after the end of active treatment, for up to ${separation.longestYears.toFixed(1)} years.`;
}

function readingText({ readFrom }: SeparationAnswer, diagnosis: Diagnosis): string {
  const passing = readFrom === 'fading-part' ? 'gain that fades' : 'growth brought forward';
  switch (diagnosis) {
    case 'lasting':
      return 'The gain lasts for the most part.';
    case 'brought-forward':
      return `The gain is for the most part ${passing}.`;
    case 'both':
      return `Part of the gain lasts and part is ${passing}.`;
    case 'lasting-shown':
      return `Some of the gain lasts; how much of the rest is ${passing} cannot be told yet.`;
    case 'forward-shown':
      return `Some of the gain is ${passing}; whether any of it lasts cannot be told yet.`;
    case 'cannot-tell':
      return `Lasting gain and ${passing} cannot be told apart yet.`;
    case 'no-gain':
      return 'The mean gain at the end of treatment is not clearly above zero, so there is nothing to split.';
  }
}

function partsText({ measure, separation }: OutcomeSummary, read: TwoPartAnswer): string {
  const open = openTauText(separation, measure);
  if (open !== '') return open.trim();
  const lasting = `Lasting: ${measureText(read.lasting.estimate, measure.unit)}${limitsText(read.lasting, measure.unit)}`;
  const share =
    read.share.interval.kind === 'bounded'
      ? `, ${percentText(read.share.estimate)} of the gain (${ratioIntervalText(read.share.interval)})`
      : '; the data do not bound its share of the gain';
  const passing =
    separation.readFrom === 'fading-part'
      ? `fading: ${measureText(read.passing.estimate, measure.unit)}${limitsText(read.passing, measure.unit)}`
      : `brought forward: ${numberText(read.passing.estimate, 2)} years of growth${yearsLimitsText(read.passing)}, worth ${measureText(read.passingAtEnd, measure.unit)} at the end of treatment`;
  return `${lasting}${share}; ${passing}.`;
}

/** Why the fading part has no limits, where it has none. */
function openTauText(
  { readFrom, fadingPart }: SeparationAnswer,
  { unit }: OutcomeSummary['measure'],
): string {
  if (readFrom !== 'fading-part' || isRefusal(fadingPart) || fadingPart.tauBounded) return '';
  const known = fadingPart.course.filter(({ followed }) => followed >= PATIENTS_NEEDED);
  const last = known[known.length - 1];
  const still =
    last === undefined || last.years === 0
      ? ''
      : ` ${last.years.toFixed(1)} years after the end of treatment the modelled mean gain is ${measureText(last.total, unit)} (${measureText(last.limits.lower, unit)} to ${measureText(last.limits.upper, unit)}).`;
  return ` How fast it fades is not fixed by the data, and what fades slowly looks like what lasts, so neither part has limits yet.${still}`;
}

function limitsText({ limits }: TestedEstimate, unit: OutcomeSummary['measure']['unit']): string {
  if (limits === null) return '';
  return ` (${measureText(limits.lower, unit)} to ${measureText(limits.upper, unit)})`;
}

function yearsLimitsText({ limits }: TestedEstimate): string {
  return limits === null ? '' : ` (${numberText(limits.lower, 2)} to ${numberText(limits.upper, 2)})`;
}

/** What would settle the question, where it is not settled; null where it is. */
export function settlingSentence(answer: OutcomeSummary): string | null {
  const { diagnosis, quietAges } = answer.separation;
  const settled = diagnosis === 'lasting' || diagnosis === 'brought-forward' || diagnosis === 'both';
  if (settled || diagnosis === 'no-gain') return null;
  const known = quietAges.flatMap((one) => (one.age === null ? [] : [quietText(one, one.age)]));
  if (known.length === 0) return 'More patients seen for longer would settle it.';
  return `Clinical follow-up after growth has nearly ended would settle it: what was brought forward is gone by then, and what is left lasts. That is ${known.join('; ')}.`;
}

function quietText({ sex, patients, seenAfter }: QuietAge, age: number): string {
  return `from about ${age.toFixed(1)} years in ${sex === 'female' ? 'girls' : 'boys'}, where ${countText(seenAfter)} of ${countText(patients)} have been measured so far`;
}

/** Which of the two models the data fit better, in one sentence; null where only one could be fitted. */
export function modelComparisonSentence({ separation }: OutcomeSummary): string | null {
  const { growthClock, fadingPart } = separation;
  if (isRefusal(growthClock) || isRefusal(fadingPart)) return null;
  const difference = fadingPart.aic - growthClock.aic;
  if (Math.abs(difference) < 2)
    return 'The two models fit these data about equally well (Akaike criteria within 2).';
  const better = difference > 0 ? 'growth clock' : 'fading part';
  const strength = Math.abs(difference) < 10 ? 'somewhat better' : 'clearly better';
  return `The ${better} fits these data ${strength} (Akaike criterion lower by ${Math.abs(difference).toFixed(1)}).`;
}

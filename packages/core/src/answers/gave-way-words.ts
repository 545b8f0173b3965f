import { countText, measureText, patientsText } from './number-text';
import type { PartMean, SplitAnswer, SplitLeftOut } from './gave-way-answer';
import type { OutcomeSummary } from './words';

/** What was lost since the end of treatment, jaw or teeth, in one or two sentences. */
export function gaveWaySentence({ gaveWay }: OutcomeSummary): string {
  const treatment = gaveWay.overjet.find(({ span }) => span === 'treatment');
  const since = gaveWay.overjet.find(({ span }) => span === 'since');
  const corrected =
    treatment?.whole == null
      ? null
      : `Treatment corrected overjet by ${withLimits(treatment.whole)} (${patientsText(treatment.n)}): ${partsText(treatment)}.`;
  if (corrected === null && since?.whole == null) {
    return `This cannot be told: no patient has all the points of the occlusal line (ss, pg, is, ii) at natural size at two records.${nobodyWords(treatment)}`;
  }
  if (since?.whole == null || gaveWay.year === null)
    return `${corrected ?? ''} No later record with all points is there.`;
  const change =
    since.whole.mean < 0
      ? `${measureText(-since.whole.mean, 'mm')} of overjet came back`
      : `another ${measureText(since.whole.mean, 'mm')} was gained`;
  return `${corrected ?? ''} By year ${gaveWay.year}, ${change} (${patientsText(since.n)}): ${partsText(since)}.`;
}

const LEFT_OUT_WORDS: Readonly<Record<SplitLeftOut, string>> = {
  'film-factor-unknown': 'the factor of their films is not known',
  'points-missing': 'a point was not read',
  'impossible-points': 'their points allow no triangle',
};

/** Who is not in a split and why, in one phrase: `12 patients left out (a point was not read: 10; ...)`; null for nobody. */
export function splitLeftOutText({ leftOut }: SplitAnswer): string | null {
  const count = leftOut.reduce((sum, { codes }) => sum + codes.length, 0);
  if (count === 0) return null;
  const reasons = leftOut.map(({ reason, codes }) => `${LEFT_OUT_WORDS[reason]}: ${countText(codes.length)}`);
  return `${patientsText(count)} with both records left out (${reasons.join('; ')})`;
}

function nobodyWords(treatment: SplitAnswer | undefined): string {
  const text = treatment === undefined ? null : splitLeftOutText(treatment);
  return text === null ? '' : ` During treatment ${text}.`;
}

function partsText({ parts }: SplitAnswer): string {
  return parts.map(({ name, mean }) => `${name.toLowerCase()} ${signed(mean)}`).join(', ');
}

function signed(mean: number): string {
  return `${mean > 0.05 ? '+' : ''}${measureText(mean, 'mm')}`;
}

function withLimits({ mean, limits }: PartMean): string {
  const interval =
    limits === null ? '' : ` (${measureText(limits.lower, 'mm')} to ${measureText(limits.upper, 'mm')})`;
  return `${measureText(mean, 'mm')}${interval}`;
}

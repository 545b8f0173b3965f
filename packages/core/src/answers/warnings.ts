import { referenceCovers, type GrowthReference } from '../growth';
import type { OutcomeAnswer, PatientOutcome, Warning } from './answer';
import { filmErrorLeftOut } from './method-error-words';
import { countText } from './number-text';

/** Fewer patients or losses than this leave an estimate that a single further patient could overturn. */
const FEW = 10;

/** Codes named in a sentence; all of them stand in the list of those left out. */
const MOST_NAMED = 5;

/** What a reader must know before believing an answer, most serious first. Each detail is one plain sentence. */
export function warningsOf(
  answer: Omit<OutcomeAnswer, 'warnings'>,
  patients: readonly PatientOutcome[],
  reference: GrowthReference,
  notPlaced: readonly string[],
): Warning[] {
  return [
    ...aboutReference(answer, patients, reference),
    ...aboutFilms(answer),
    ...aboutClock(answer, notPlaced),
    ...aboutError(answer),
    ...aboutNumbers(answer),
    ...aboutMissing(answer),
  ];
}

function aboutReference(
  answer: Omit<OutcomeAnswer, 'warnings'>,
  patients: readonly PatientOutcome[],
  reference: GrowthReference,
): Warning[] {
  if (reference.kind === 'none') return [{ code: 'no-reference', detail: reference.reason }];
  const warnings: Warning[] = [];
  if (reference.kind === 'built-in-table') {
    warnings.push({
      code: 'built-in-reference',
      detail: `Expected growth comes from a built-in table of historic children, not from your own untreated series: ${reference.provenance.text}`,
    });
  }
  if (answer.reference.kind === 'imported-table') {
    const { name, source, meansUncertaintyKnown, rateSdGiven } = answer.reference;
    const doubt = meansUncertaintyKnown
      ? ''
      : ' It does not give the SD and number of children behind each mean, so its own uncertainty is in no interval.';
    const rate = rateSdGiven ? '' : ' How far single children stray from it is assumed, with no source.';
    warnings.push({
      code: 'imported-reference',
      detail: `Expected growth comes from the imported table ${name} (${source}), not from your own untreated series: whether its children grew as yours would have is not known.${doubt}${rate}`,
    });
  }
  const extrapolated = patients.filter(({ sex, visits }) =>
    visits.some(({ growthAge }) => referenceCovers(reference, sex, growthAge) === 'extrapolated'),
  ).length;
  if (extrapolated > 0) {
    warnings.push({
      code: 'reference-extrapolated',
      detail: `${people(extrapolated)} had a visit up to a year outside the ages of the growth reference; its curve was continued there.`,
    });
  }
  const outside = answer.leftOut.find(({ reason }) => reason === 'no-reference')?.codes.length ?? 0;
  if (outside > 0) {
    warnings.push({
      code: 'no-reference',
      detail: `${people(outside)} could not be judged: the growth reference does not cover their sex or age.`,
    });
  }
  return warnings;
}

/** A factor that is mixed up moves a length by more than any treatment does, so what is not known is not used. */
function aboutFilms({
  measure,
  question,
  patients,
  films: { unknown, assumed },
}: Omit<OutcomeAnswer, 'warnings'>): Warning[] {
  const warnings: Warning[] = [];
  if (unknown > 0) {
    const codes = patients.filter(({ unsized }) => unsized.length > 0).map(({ code }) => code);
    const treated = codes.length === 0 ? '' : ` Treated: ${listText(codes)}.`;
    warnings.push({
      code: 'film-factor-unknown',
      detail: `${measure.code} is a length on films, and for ${people(unknown)} nobody said how much the films enlarge; these values are not used.${treated} Give the factor in the column film_factor of measurements.csv, or one for all such films in the question (field Film factor, option --film-factor).`,
    });
  }
  if (assumed > 0) {
    warnings.push({
      code: 'film-factor-assumed',
      detail: `Lengths of ${people(assumed)} are multiplied by ${question.filmFactor ?? 1}, the factor of the question, because their films carry none of their own. A wrong factor moves a length of 110 mm by more than treatment does.`,
    });
  }
  return warnings;
}

/** The first few codes, and how many more there are. */
function listText(codes: readonly string[]): string {
  const shown = codes.slice(0, MOST_NAMED).join(', ');
  return codes.length <= MOST_NAMED ? shown : `${shown} and ${countText(codes.length - MOST_NAMED)} more`;
}

/** Published agreement on stages: less than half of the films between raters, half to three quarters within one. */
function aboutClock(
  { question, patients }: Omit<OutcomeAnswer, 'warnings'>,
  notPlaced: readonly string[],
): Warning[] {
  if (question.growthClock === 'age') return [];
  return [
    {
      code: 'stage-clock',
      detail: `Children are placed on the growth curve by their stage of maturity. Raters agree on the stage in only about half of the films; that doubt is in every interval. ${countText(notPlaced.length)} of ${countText(patients.length)} patients could not be placed by stage (none recorded, CS5 or CS6, which place nobody, or a growth curve without a peak) and stay on their age.`,
    },
  ];
}

function aboutError(answer: Omit<OutcomeAnswer, 'warnings'>): Warning[] {
  return [...aboutRetracing(answer), ...aboutFilmError(answer)];
}

function aboutRetracing({ methodError, measure }: Omit<OutcomeAnswer, 'warnings'>): Warning[] {
  const { duplicates } = methodError;
  if (methodError.source === 'default') {
    const pairs = duplicates?.pairs ?? 0;
    return [
      {
        code: 'default-method-error',
        detail: `The method error of ${measure.code} is a default, not your own: ${pairs === 0 ? 'there are no duplicate readings' : `only ${pairs} pairs of duplicate readings are there`}, and 25 are needed.`,
      },
    ];
  }
  if (duplicates !== null && duplicates.biasP < 0.1) {
    return [
      {
        code: 'method-error-bias',
        detail: `Second readings of ${measure.code} differ from first readings by ${duplicates.bias.toFixed(2)} on average (p = ${duplicates.biasP.toFixed(3)}); a bias makes the method error look larger than it is.`,
      },
    ];
  }
  return [];
}

/** Of one published measure the whole error of two films is about twice that of retracing, so leaving it out matters. */
function aboutFilmError({ methodError, measure, reference }: Omit<OutcomeAnswer, 'warnings'>): Warning[] {
  if (methodError.films.source !== 'not-known') return [];
  return [
    {
      code: 'film-error-unknown',
      detail: `By how much ${measure.code} differs between two films of one child, beyond retracing, is not known here and is left out, ${filmErrorLeftOut(reference)}. Of SNA two films differ about twice as much as two tracings of one. Never take a film for this; where films were taken again for other reasons, bring them in with the column film.`,
    },
  ];
}

function aboutNumbers({ gain, survival, retained }: Omit<OutcomeAnswer, 'warnings'>): Warning[] {
  const warnings: Warning[] = [];
  if (gain === null || gain.n < FEW) {
    warnings.push({
      code: 'few-patients',
      detail: `${gain === null ? 'Fewer than two patients have' : `Only ${people(gain.n)} with`} a computable gain of treatment: nothing can be said of treatments in general.`,
    });
  }
  if (survival !== null && survival.losses < FEW) {
    warnings.push({
      code: 'few-losses',
      detail: `Only ${survival.losses} of ${countText(survival.patients)} patients were seen to lose their gain, so the curve is rough.`,
    });
  }
  if (survival !== null && !survival.turnbull.converged) {
    warnings.push({
      code: 'curve-not-converged',
      detail: `The interval-censored curve stopped ${survival.turnbull.optimalityGap.toExponential(1)} per patient short of its maximum.`,
    });
  }
  if (survival !== null && survival.falseLossesExpected >= 0.2 * Math.max(1, survival.losses)) {
    warnings.push({
      code: 'false-losses',
      detail: `Measurement error alone would be expected to show ${survival.falseLossesExpected.toFixed(1)} losses under this rule, beside ${countText(survival.losses)} found.`,
    });
  }
  const unbounded = retained.filter(({ share }) => share !== null && share.interval.kind !== 'bounded');
  if (unbounded.length > 0) {
    warnings.push({
      code: 'wide-interval',
      detail: `In ${unbounded.length === 1 ? 'one year' : `${unbounded.length} years`} the mean gain is too uncertain for its share to have limits.`,
    });
  }
  return warnings;
}

function aboutMissing({ flow }: Omit<OutcomeAnswer, 'warnings'>): Warning[] {
  const worst = flow.filter(({ eligible, seen }) => eligible >= FEW && seen < eligible / 2);
  const first = worst[0];
  if (first === undefined) return [];
  return [
    {
      code: 'many-missing',
      detail: `From year ${first.year} on, fewer than half of those who could have been seen were seen (${countText(first.seen)} of ${countText(first.eligible)}); if they stayed away because of a poor result, the answers here are too good.`,
    },
  ];
}

function people(n: number): string {
  return n === 1 ? '1 patient' : `${countText(n)} patients`;
}

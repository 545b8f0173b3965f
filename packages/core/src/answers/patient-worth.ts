import { BY_AGE, referenceCovers } from '../growth';
import { yearsBetween, type Study } from '../records';
import {
  multiplierOf,
  regressorSums,
  totalInformation,
  worthOfRecall,
  type RegressorSums,
} from '../separation';
import type { Yardstick } from '../retention';
import { clockShift } from './clock-shift';
import { favourableVelocity, type GainRow } from './gain-rows';
import { readModelOf, type SeparatedGain } from './separate-gain';
import type { PatientWorth } from './separation-answer';
import type { OutcomeQuestion } from './question';

/**
 * By how much one more visit of each patient on the day of the question would narrow the lasting gain, most first.
 * Only patients whose age on that day is known and covered by the reference, who were not treated again, and whose gain
 * at the end of active treatment is in the model. Empty where no model could be fitted or the day is not known.
 */
export function patientWorth(
  study: Study,
  separated: SeparatedGain,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): PatientWorth[] {
  const read = readModelOf(separated, yardstick);
  const { asOf } = question;
  if (read === null || asOf === null) return [];
  const { fit, regressor } = read.model;
  const components = { betweenPatients: fit.betweenPatients, residualVariance: fit.residualSd ** 2 };
  const sums = sumsByPatient(separated.rows, regressor);
  const total = totalInformation(sums.values(), components);
  const multiplier = multiplierOf(fit.lasting.df, question.level);
  const fade = read.from === 'fading-part' ? read.model.fit.tau : null;
  return study
    .flatMap((history): PatientWorth[] => {
      const { code, sex, birthDate, activeEnd } = history.patient;
      const own = sums.get(code);
      if (own === undefined || birthDate === null || activeEnd === null) return [];
      if (
        history.events.some(
          ({ event }) => event === 'treated_again' || event === 'withdrew' || event === 'moved',
        )
      )
        return [];
      const ageNow = yearsBetween(birthDate, asOf);
      const shift = clockShift(history, question.growthClock, yardstick.reference) ?? BY_AGE;
      const growthAge = ageNow + shift.years;
      if (referenceCovers(yardstick.reference, sex, growthAge) === 'outside') return [];
      const next =
        fade === null
          ? favourableVelocity(yardstick.reference, yardstick.direction, sex, growthAge)
          : Math.exp(-yearsBetween(activeEnd, asOf) / fade);
      const worth = worthOfRecall(total, own, next, components);
      if (worth === null) return [];
      const { fall, standardErrorNow, standardErrorThen } = worth;
      return [
        {
          code,
          ageNow,
          fall,
          reachNow: multiplier * standardErrorNow,
          reachThen: multiplier * standardErrorThen,
        },
      ];
    })
    .sort((a, b) => b.fall - a.fall || (a.code < b.code ? -1 : 1));
}

function sumsByPatient(rows: readonly GainRow[], regressor: readonly number[]): Map<string, RegressorSums> {
  const values = new Map<string, number[]>();
  rows.forEach(({ code }, i) => {
    const own = values.get(code) ?? [];
    own.push(regressor[i] ?? NaN);
    values.set(code, own);
  });
  return new Map([...values].map(([code, own]) => [code, regressorSums(own)]));
}

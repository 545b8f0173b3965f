import { BY_AGE, referenceCovers } from '../growth';
import { recallStop } from '../recall';
import { yearsBetween, type IsoDate, type PatientHistory } from '../records';
import type { Yardstick } from '../retention';
import {
  addFadingInformation,
  fadingInformation,
  multiplierOf,
  NO_FADING_INFORMATION,
  regressorSums,
  totalInformation,
  worthOfFadingRecall,
  worthOfRecall,
  type FadingPartFit,
  type GrowthClockFit,
  type RecallWorth,
} from '../separation';
import { clockShift } from './clock-shift';
import { favourableVelocity, type GainRow } from './gain-rows';
import type { OutcomeQuestion } from './question';
import type { PatientWorth, RecallWorthAnswer, WorthLeftOut } from './recall-worth-answer';
import { readModelOf, type ReadModel, type SeparatedGain } from './separate-gain';

/** What a visit on the day of the question would be: age then, age on the growth curve, years since active treatment. */
interface NextVisit {
  readonly ageNow: number;
  readonly velocity: number;
  readonly years: number;
}

/** What one further visit of a patient of the model would teach; null where it cannot be weighed. */
type Weigh = (code: string, next: NextVisit) => RecallWorth | null;

/**
 * By how much one more visit of each patient on the day of the question would narrow the lasting gain, most first.
 * Left out, by reason: whoever is not to be called back (no consent, withdrew, moved or declined, by the rules of the
 * recall list), was treated again, has no gain in the model, or is of an age that the reference does not cover.
 */
export function patientWorth(
  treated: readonly PatientHistory[],
  separated: SeparatedGain,
  question: OutcomeQuestion,
  yardstick: Yardstick,
): RecallWorthAnswer {
  const read = readModelOf(separated, yardstick);
  const { asOf } = question;
  if (read === null || asOf === null)
    return { patients: [], leftOut: [], readFrom: read?.from ?? null, tau: null };
  const { lasting } = read.model.fit;
  const multiplier = multiplierOf(lasting.df, question.level);
  const weigh =
    read.from === 'growth-clock'
      ? clockWeigher(read.model, separated.rows)
      : fadingWeigher(read.model.fit, separated.rows);
  const inModel = new Set(separated.rows.map(({ code }) => code));
  const patients: PatientWorth[] = [];
  const leftOut = new Map<WorthLeftOut, string[]>();
  for (const history of treated) {
    const { code } = history.patient;
    const next = nextVisit(history, inModel.has(code), asOf, question, yardstick);
    const worth = typeof next === 'string' ? null : weigh(code, next);
    if (typeof next === 'string') {
      const codes = leftOut.get(next);
      if (codes === undefined) leftOut.set(next, [code]);
      else codes.push(code);
    } else if (worth !== null) {
      patients.push({
        code,
        ageNow: next.ageNow,
        fall: worth.fall,
        reachNow: multiplier * worth.standardErrorNow,
        reachThen: multiplier * worth.standardErrorThen,
      });
    }
  }
  return {
    patients: patients.sort((a, b) => b.fall - a.fall || (a.code < b.code ? -1 : 1)),
    leftOut: [...leftOut].map(([reason, codes]) => ({ reason, codes })),
    readFrom: read.from,
    tau: read.from === 'growth-clock' ? null : read.model.fit.carriesTau ? 'estimated' : 'taken-as-known',
  };
}

function nextVisit(
  history: PatientHistory,
  inModel: boolean,
  asOf: IsoDate,
  question: OutcomeQuestion,
  { reference, direction }: Yardstick,
): NextVisit | WorthLeftOut {
  const stop = recallStop(history, asOf);
  if (stop !== null) return stop.reason;
  if (history.events.some(({ event }) => event === 'treated_again')) return 'treated-again';
  if (!inModel) return 'no-gain';
  const { sex, birthDate, activeEnd } = history.patient;
  if (birthDate === null || activeEnd === null) return 'no-date';
  const ageNow = yearsBetween(birthDate, asOf);
  const growthAge = ageNow + (clockShift(history, question.growthClock, reference) ?? BY_AGE).years;
  if (referenceCovers(reference, sex, growthAge) === 'outside') return 'beyond-reference';
  return {
    ageNow,
    velocity: favourableVelocity(reference, direction, sex, growthAge),
    years: yearsBetween(activeEnd, asOf),
  };
}

function clockWeigher({ fit, regressor }: ReadModel<GrowthClockFit>, rows: readonly GainRow[]): Weigh {
  const components = componentsOf(fit);
  const sums = new Map(
    [...valuesByPatient(rows, (_, i) => regressor[i] ?? NaN)].map(([code, own]) => [
      code,
      regressorSums(own),
    ]),
  );
  const total = totalInformation(sums.values(), components);
  return (code, { velocity }) => {
    const own = sums.get(code);
    return own === undefined ? null : worthOfRecall(total, own, velocity, components);
  };
}

/** Where the data fix tau its doubt is carried; else it is taken as known. */
function fadingWeigher(fit: FadingPartFit, rows: readonly GainRow[]): Weigh {
  const components = componentsOf(fit);
  const times = valuesByPatient(rows, ({ years }) => years);
  if (!fit.carriesTau) {
    const fade = (years: number): number => Math.exp(-years / fit.tau);
    const sums = new Map([...times].map(([code, own]) => [code, regressorSums(own.map(fade))]));
    const total = totalInformation(sums.values(), components);
    return (code, { years }) => {
      const own = sums.get(code);
      return own === undefined ? null : worthOfRecall(total, own, fade(years), components);
    };
  }
  const place = { tau: fit.tau, passing: fit.passing.estimate };
  const total = [...times.values()].reduce(
    (sum, own) => addFadingInformation(sum, fadingInformation(own, place, components)),
    NO_FADING_INFORMATION,
  );
  return (code, { years }) => {
    const own = times.get(code);
    return own === undefined ? null : worthOfFadingRecall(total, own, years, place, components);
  };
}

function componentsOf({ betweenPatients, residualSd }: GrowthClockFit | FadingPartFit) {
  return { betweenPatients, residualVariance: residualSd ** 2 };
}

function valuesByPatient(
  rows: readonly GainRow[],
  read: (row: GainRow, i: number) => number,
): Map<string, number[]> {
  const values = new Map<string, number[]>();
  rows.forEach((row, i) => {
    const own = values.get(row.code);
    if (own === undefined) values.set(row.code, [read(row, i)]);
    else own.push(read(row, i));
  });
  return values;
}

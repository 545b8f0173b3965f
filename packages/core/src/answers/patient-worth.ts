import { BY_AGE, referenceCovers } from '../growth';
import { isRefusal } from '../numeric';
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

/** What a visit to come would be: age then, age on the growth curve, years since active treatment. */
export interface NextVisit {
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
  const nobody = { patients: [], leftOut: [], readFrom: read?.from ?? null };
  if (read === null) return { ...nobody, why: whyNoModel(separated, yardstick) };
  if (asOf === null) return { ...nobody, why: 'No date is in the records, so nobody’s age today is known.' };
  if (read.from === 'fading-part' && !read.model.fit.tauBounded) return { ...nobody, why: TAU_NOT_FIXED };
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
    why: patients.length === 0 ? 'Of nobody who may be called back a visit can be weighed.' : null,
  };
}

/** Why nothing can be said of a lasting gain that stands on the fading part; also said where a plan is asked for. */
export const TAU_NOT_FIXED =
  'The visits so far do not tell how fast the passing part fades, so the lasting gain has no limits that a visit could narrow.';

function whyNoModel({ growthClock, fadingPart }: SeparatedGain, { reference }: Yardstick): string | null {
  const refusal = reference.kind === 'not-needed' ? fadingPart : growthClock;
  return isRefusal(refusal) ? refusal.message : null;
}

/** The visit of a patient some years after a day, or why it is not to be reckoned with. */
export function nextVisit(
  history: PatientHistory,
  inModel: boolean,
  asOf: IsoDate,
  question: OutcomeQuestion,
  { reference, direction }: Yardstick,
  yearsAhead = 0,
): NextVisit | WorthLeftOut {
  const stop = recallStop(history, asOf);
  if (stop !== null) return stop.reason;
  if (history.events.some(({ event }) => event === 'treated_again')) return 'treated-again';
  if (!inModel) return 'no-gain';
  const { sex, birthDate, activeEnd } = history.patient;
  if (birthDate === null || activeEnd === null) return 'no-date';
  const ageNow = yearsBetween(birthDate, asOf) + yearsAhead;
  const growthAge = ageNow + (clockShift(history, question.growthClock, reference) ?? BY_AGE).years;
  if (referenceCovers(reference, sex, growthAge) === 'outside') return 'beyond-reference';
  return {
    ageNow,
    velocity: favourableVelocity(reference, direction, sex, growthAge),
    years: yearsBetween(activeEnd, asOf) + yearsAhead,
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
    const worth = own === undefined ? null : worthOfRecall(total, own, velocity, components);
    return worth === null ? null : withCurve(worth, fit);
  };
}

/** The growth curve's doubt is in the interval that a visit would narrow; no visit of a treated patient lessens it. */
function withCurve(
  { standardErrorNow, standardErrorThen }: RecallWorth,
  { transfer }: GrowthClockFit,
): RecallWorth {
  const curve = transfer === null ? 0 : transfer.covariance(transfer.lasting, transfer.lasting);
  const [now, then] = [standardErrorNow ** 2 + curve, standardErrorThen ** 2 + curve];
  return { fall: 1 - then / now, standardErrorNow: Math.sqrt(now), standardErrorThen: Math.sqrt(then) };
}

/** tau is estimated from the same gains, so its doubt is carried. */
function fadingWeigher(fit: FadingPartFit, rows: readonly GainRow[]): Weigh {
  const components = componentsOf(fit);
  const times = valuesByPatient(rows, ({ years }) => years);
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

/** The variances of a fit at which information is weighed. */
export function componentsOf({ betweenPatients, residualSd }: GrowthClockFit | FadingPartFit) {
  return { betweenPatients, residualVariance: residualSd ** 2 };
}

/** A value of each gain of each patient, in the order of the gains. */
export function valuesByPatient(
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

import { errorDraws, type ErrorVariances, type MethodErrorInForce } from '../agreement';
import { referenceDeviations, type ReferenceDeviation } from '../growth';
import { createRandom, normalQuantile, twoSidedNormal } from '../numeric';
import {
  contrastRow,
  estimateContrast,
  measurementCovariance,
  type Contrast,
  type Yardstick,
} from '../retention';
import {
  lossInterval,
  type CensoredInterval,
  type IntervalTimes,
  type LossRule,
  type RereadTimes,
} from '../survival';
import type { PatientContrasts } from './patient-outcome';
import type { OutcomeQuestion } from './question';

/**
 * Times to loss as they would be read if the growth reference and the method error were off by as much as they may be.
 * Every draw moves the margins of all patients together, so no number of patients averages it away.
 */
export interface DrawnLosses extends RereadTimes {
  /** Patients who are in the risk set as estimated or under any draw; times are in their order. */
  readonly codes: readonly string[];
  /** The same draws for some of the patients. */
  readonly among: (codes: ReadonlySet<string>) => DrawnLosses;
  /** The same draws by another rule. */
  readonly under: (rule: LossRule) => DrawnLosses;
}

/** Whether an uncertainty is in a curve's limits: `not-known` is left out of them, `none` has nothing to leave out. */
export type Carried = 'carried' | 'not-known' | 'none';

/** What the limits of a survival curve carry besides the chance of which patients were seen. */
export interface CarriedDoubt {
  readonly growthReference: Carried;
  readonly methodError: Carried;
}

/** Patients read anew where a model is fitted to every draw: more would take too long, fewer would know a spread badly. */
const READ_FOR_FITS = 200_000;
const FEWEST_FITS = 20;
const MOST_FITS = 60;

/** The times under as many of the draws as are worth a fit each. */
export function drawsBeside(drawn: DrawnLosses): IntervalTimes[] {
  const wanted = Math.round(READ_FOR_FITS / Math.max(1, drawn.patients));
  const fits = Math.min(drawn.draws, MOST_FITS, Math.max(FEWEST_FITS, wanted));
  return Array.from({ length: fits }, (_, draw) => drawn.times(draw));
}

/** What a yardstick is uncertain by. */
export type DoubtPart = 'growth-reference' | 'method-error';

/** How many draws are made of which parts; the rest stays as estimated. */
export interface DrawnParts {
  readonly parts: readonly DoubtPart[];
  readonly draws: number;
}

/** What is uncertain about a yardstick, as far as it is known, and the question that it is used for. */
export interface Doubt {
  readonly question: Pick<OutcomeQuestion, 'threshold' | 'rule' | 'level' | 'seed' | 'resamples'>;
  readonly yardstick: Yardstick;
  readonly methodError: MethodErrorInForce;
}

/** A contrast as a sum that moves with the reference's coefficients and with the two variances of the method error. */
interface MovingContrast {
  readonly estimate: number;
  /** The coefficients that move the estimate, and by how much a deviation of each does. */
  readonly places: Int32Array;
  readonly row: Float64Array;
  /** Measurement variance is `film` times the film's plus `retracing` times the retracing's. */
  readonly film: number;
  readonly retracing: number;
}

interface MovingPatient {
  readonly code: string;
  readonly gain: MovingContrast;
  /** Variance of how the patient grows, in the gain. */
  readonly growthVariance: number;
  readonly visits: readonly MovingContrast[];
  /** The visits as one draw has them, written anew by each: millions of draws of visits would be as many objects. */
  readonly drawn: readonly DrawnVisit[];
}

interface DrawnVisit {
  readonly years: number;
  margin: number;
  measurementSd: number;
}

/** The question with the one-sided normal quantile of its level. */
interface Judge extends Pick<OutcomeQuestion, 'threshold' | 'rule' | 'level'> {
  readonly multiplier: number;
}

interface Draw {
  readonly deviation: ReferenceDeviation | null;
  readonly error: ErrorVariances;
}

/** Curves and errors come from a stream of their own, so that patients are resampled as they would be without them. */
export const DOUBT_STREAM = 0x5eed;

/**
 * Reads the patients' times to loss again under drawn errors of the growth reference (normal with the covariance of its
 * coefficients) and of the method error (chi-squared with its degrees of freedom). Margins are linear in the coefficients,
 * so nothing is fitted anew.
 *
 * @param patients those whose gain of treatment can be computed
 * @param plan draws of one kind after the other, each kind by random numbers of its own; default: as many of both parts as
 *   the question has resamples
 * @returns null where none of the parts is known, or no patient is ever in the risk set
 */
export function drawnLosses(
  patients: readonly PatientContrasts[],
  { question, yardstick, methodError }: Doubt,
  plan: readonly DrawnParts[] = [{ parts: ['growth-reference', 'method-error'], draws: question.resamples }],
): DrawnLosses | null {
  const asked = new Set(plan.flatMap(({ parts }) => parts));
  const deviations = asked.has('growth-reference') ? referenceDeviations(yardstick.reference) : null;
  const errors = asked.has('method-error') ? errorDraws(methodError) : null;
  if (deviations === null && errors === null) return null;
  const drawn = plan.flatMap(({ parts, draws }) => {
    const random = createRandom(question.seed ^ DOUBT_STREAM);
    const deviation = parts.includes('growth-reference') ? deviations : null;
    const error = parts.includes('method-error') ? errors : null;
    return Array.from({ length: draws }, (): Draw => ({
      deviation: deviation?.(random) ?? null,
      error: error?.(random) ?? yardstick.error,
    }));
  });
  const states: Draw[] = [{ deviation: null, error: yardstick.error }, ...drawn];
  const moving = patients
    .filter(({ later }) => later.length > 0)
    .map((patient) => movingPatient(patient, question, yardstick))
    .filter((patient) => states.some((draw) => isInRiskSet(patient, draw, question)));
  const judge = { ...question, multiplier: normalQuantile(question.level) };
  return moving.length === 0 ? null : drawnOf(moving, drawn, judge);
}

function drawnOf(patients: readonly MovingPatient[], drawn: readonly Draw[], judge: Judge): DrawnLosses {
  return {
    codes: patients.map(({ code }) => code),
    patients: patients.length,
    draws: drawn.length,
    times: (place) => {
      const draw = drawn[place];
      if (draw === undefined) throw new RangeError(`drawnLosses: no draw ${place} of ${drawn.length}`);
      return timesUnder(patients, draw, judge);
    },
    among: (codes) =>
      drawnOf(
        patients.filter(({ code }) => codes.has(code)),
        drawn,
        judge,
      ),
    under: (rule) => drawnOf(patients, drawn, { ...judge, rule }),
  };
}

/** What `drawnLosses` can carry into limits for a reference and a method error. */
export function carriedDoubt({ question, yardstick: { reference }, methodError }: Doubt): CarriedDoubt {
  const known = (source: unknown): Carried => (source === null ? 'not-known' : 'carried');
  const { threshold, rule } = question;
  // A floor is judged without it, but for the rule that allows for it.
  const needsError = threshold.kind === 'share' || rule === 'beyond-error';
  return {
    growthReference: reference.kind === 'not-needed' ? 'none' : known(referenceDeviations(reference)),
    methodError: needsError ? known(errorDraws(methodError)) : 'none',
  };
}

function movingPatient(
  { code, sex, first, later }: PatientContrasts,
  { threshold }: Doubt['question'],
  yardstick: Yardstick,
): MovingPatient {
  const floor = threshold.kind === 'floor' ? threshold.amount : 0;
  const moving = (contrast: Contrast, estimate: number): MovingContrast => {
    const share = (error: ErrorVariances): number =>
      measurementCovariance(contrast, contrast, { ...yardstick, error });
    const row = contrastRow(contrast, sex, yardstick);
    const places = Int32Array.from(row.keys()).filter((place) => row[place] !== 0);
    return {
      estimate,
      places,
      row: Float64Array.from(places, (place) => -yardstick.direction * (row[place] ?? 0)),
      film: share({ film: 1, retracing: 0 }),
      retracing: share({ film: 0, retracing: 1 }),
    };
  };
  const gain = estimateContrast(first, sex, yardstick);
  return {
    code,
    gain: moving(first, gain.estimate - floor),
    growthVariance: gain.growthVariance,
    visits: later.map(({ marginContrast, margin }) => moving(marginContrast, margin.estimate)),
    drawn: later.map(({ years }) => ({ years, margin: NaN, measurementSd: NaN })),
  };
}

function movedEstimate({ estimate, places, row }: MovingContrast, { deviation }: Draw): number {
  if (deviation === null) return estimate;
  let moved = estimate;
  for (let i = 0; i < row.length; i++) moved += (row[i] ?? 0) * (deviation[places[i] ?? 0] ?? 0);
  return moved;
}

function measurementVariance({ film, retracing }: MovingContrast, { error }: Draw): number {
  return film * error.film + retracing * error.retracing;
}

/** As estimated gains are judged: at the floor or above it, or for a share so large that it can be told from none. */
function isInRiskSet(
  { gain, growthVariance }: MovingPatient,
  draw: Draw,
  { threshold, level }: Pick<Judge, 'threshold' | 'level'>,
): boolean {
  const estimate = movedEstimate(gain, draw);
  if (threshold.kind === 'floor') return estimate >= 0;
  const variance = measurementVariance(gain, draw) + growthVariance;
  return estimate - twoSidedNormal(level) * Math.sqrt(variance) > 0;
}

function timesUnder(patients: readonly MovingPatient[], draw: Draw, judge: Judge): IntervalTimes {
  const left = new Float64Array(patients.length).fill(NaN);
  const right = new Float64Array(patients.length).fill(Infinity);
  patients.forEach((patient, i) => {
    if (!isInRiskSet(patient, draw, judge)) return;
    const loss = lossUnder(patient, draw, judge);
    left[i] = loss.left;
    right[i] = loss.right ?? Infinity;
  });
  return { left, right };
}

function lossUnder(
  { visits, drawn }: MovingPatient,
  draw: Draw,
  { rule, multiplier }: Judge,
): CensoredInterval {
  for (let i = 0; i < drawn.length; i++) {
    const [visit, margin] = [drawn[i], visits[i]];
    if (visit === undefined || margin === undefined) continue;
    visit.margin = movedEstimate(margin, draw);
    visit.measurementSd = Math.sqrt(measurementVariance(margin, draw));
  }
  return lossInterval(drawn, rule, multiplier);
}

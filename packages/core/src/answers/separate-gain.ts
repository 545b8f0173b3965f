import {
  curveCovariance,
  describeReference,
  velocityRow,
  type GrowthReference,
  type ImportedGrowthTable,
} from '../growth';
import { isRefusal, refuse, type Refusal } from '../numeric';
import {
  diagnose,
  fadingShare,
  fitFadingPart,
  fitGrowthClock,
  gainLimits,
  lastingShare,
  limitsAlongTau,
  modelGain,
  multiplierOf,
  type ClockSeries,
  type CurveAtTime,
  type CurveRows,
  type CurveTransfer,
  type FadingPartFit,
  type GrowthClockFit,
  type LastingShare,
  type PartEstimate,
  type TwoPartFit,
} from '../separation';
import { meanRow, type Limits, type Yardstick } from '../retention';
import { favourableVelocity, type GainRow } from './gain-rows';
import { influenceOf } from './separation-influence';
import type {
  ClockAnswer,
  FadingAnswer,
  ModelledGain,
  QuietAge,
  SeparationAnswer,
  TestedEstimate,
  TwoPartAnswer,
} from './separation-answer';

/** The mean course is given at steps of this many years. */
const COURSE_STEP = 0.5;
/** Growth counts as nearly ended where its velocity is below this share of the mean one at the end of treatment. */
const QUIET_SHARE = 0.25;
const AGE_STEP = 0.1;

/** The mean of a regressor over patients, and how it hangs on the growth curve; null where it does not. */
export interface MeanRegressor {
  readonly x: number;
  readonly curve: CurveAtTime | null;
}

/** A fitted model with what is needed to read it: the regressor of each gain, and its mean at any time. */
export interface ReadModel<Fit extends TwoPartFit> {
  readonly fit: Fit;
  readonly regressor: readonly number[];
  /** Mean regressor over all patients at a time after the end of active treatment, with its place on the curve. */
  readonly meanAt: (years: number) => MeanRegressor;
  /** Limits of the mean gain at such a time. */
  readonly gainLimitsAt: (years: number) => Limits;
  readonly share: LastingShare;
}

/** Both models, as far as they could be fitted. */
export interface SeparatedGain {
  readonly rows: readonly GainRow[];
  readonly growthClock: ReadModel<GrowthClockFit> | Refusal;
  readonly fadingPart: ReadModel<FadingPartFit> | Refusal;
}

/** Fits the growth clock and the fading part to all measured gains of the patients. */
export function separateGain(rows: readonly GainRow[], yardstick: Yardstick, level: number): SeparatedGain {
  return { rows, growthClock: readClock(rows, yardstick, level), fadingPart: readFading(rows, level) };
}

/** What the two models say, and how it may be read. */
export function separationAnswer(
  { rows, growthClock, fadingPart }: SeparatedGain,
  yardstick: Yardstick,
): SeparationAnswer {
  const clock = isRefusal(growthClock) ? growthClock : twoPartAnswer(growthClock, rows);
  const fading = isRefusal(fadingPart) ? fadingPart : fadingAnswer(fadingPart, rows);
  const read = readModelOf({ rows, growthClock, fadingPart }, yardstick);
  return {
    patients: new Set(rows.map(({ code }) => code)).size,
    gains: rows.length,
    followed: new Set(rows.filter(({ years }) => years > 0).map(({ code }) => code)).size,
    longestYears: rows.reduce((longest, { years }) => Math.max(longest, years), 0),
    growthClock: clock,
    fadingPart: fading,
    readFrom: read === null ? null : read.from,
    diagnosis: read === null ? null : diagnose(read.model.fit, read.model.share),
    quietAges: isRefusal(growthClock) ? [] : quietAges(rows, growthClock.meanAt(0).x, yardstick),
    influence: read === null || read.model.fit.lasting.lower === null ? null : influenceOf(read.model, rows),
  };
}

/** The model that a reading stands on: the growth clock for a measure that grows, else the fading part. */
export function readModelOf(
  { growthClock, fadingPart }: SeparatedGain,
  { reference }: Yardstick,
):
  | { readonly from: 'growth-clock'; readonly model: ReadModel<GrowthClockFit> }
  | { readonly from: 'fading-part'; readonly model: ReadModel<FadingPartFit> }
  | null {
  if (!isRefusal(growthClock)) return { from: 'growth-clock', model: growthClock };
  if (reference.kind === 'not-needed' && !isRefusal(fadingPart))
    return { from: 'fading-part', model: fadingPart };
  return null;
}

/** The growth clock of the measured gains, or why it could not be fitted. */
export function readClock(
  rows: readonly GainRow[],
  yardstick: Yardstick,
  level: number,
): ReadModel<GrowthClockFit> | Refusal {
  const { reference } = yardstick;
  if (reference.kind === 'imported-table' && reference.meanVariances === null)
    return unsaidVelocity(reference);
  const regressor = rows.map(({ velocity }) => velocity);
  const series: ClockSeries = { ...columns(rows), velocity: regressor, curve: curveRows(rows, yardstick) };
  const fit = fitGrowthClock(series, level);
  if (isRefusal(fit)) return fit;
  const ends = rows.filter(({ years }) => years === 0);
  const meanAt = (years: number): MeanRegressor => meanVelocity(ends, years, yardstick, fit.transfer);
  const atEnd = meanAt(0);
  return {
    fit,
    regressor,
    meanAt,
    gainLimitsAt: (years) => {
      const { x, curve } = meanAt(years);
      return gainLimits(modelGain(fit, x, curve), multiplierOf(fit.lasting.df, level));
    },
    share: lastingShare(fit, atEnd.x, level, atEnd.curve),
  };
}

/**
 * Velocities are differences of means: of a table that does not say how sure its means are, nobody can tell whether
 * they carry the growth clock. In simulated studies its intervals for S, without the table's part, hardly ever covered.
 */
function unsaidVelocity({ name }: ImportedGrowthTable): Refusal {
  return refuse(
    'unsure-velocity',
    `The imported table ${name} does not give the SD and number of children behind each mean, so it cannot be told whether its growth rates are sure enough to tell lasting gain from growth brought forward. With both numbers in every row the program can say.`,
  );
}

/** The fading part of the measured gains, or why it could not be fitted. */
export function readFading(rows: readonly GainRow[], level: number): ReadModel<FadingPartFit> | Refusal {
  const fit = fitFadingPart({ ...columns(rows), time: rows.map(({ years }) => years) }, level);
  if (isRefusal(fit)) return fit;
  const fade = (years: number): number => Math.exp(-years / fit.tau);
  return {
    fit,
    regressor: rows.map(({ years }) => fade(years)),
    meanAt: (years) => ({ x: fade(years), curve: null }),
    gainLimitsAt: (years) => limitsAlongTau(fit.along, (tau) => [1, Math.exp(-years / tau)]),
    share: fadingShare(fit),
  };
}

function columns(rows: readonly GainRow[]): { patient: string[]; gain: number[] } {
  return { patient: rows.map(({ code }) => code), gain: rows.map(({ gain }) => gain) };
}

function curveRows(rows: readonly GainRow[], { reference, direction }: Yardstick): CurveRows | null {
  const coefficients = rows[0]?.velocityRow.length ?? 0;
  if (coefficients === 0) return null;
  return {
    direction,
    expectedGrowth: rows.map(({ growthRow }) => growthRow),
    velocity: rows.map((row) => row.velocityRow),
    coefficients,
    covariance: (left, right) => curveCovariance(reference, left, right),
  };
}

/** Mean velocity of all patients a time after their end of active treatment; at ages past the reference, that at its end. */
function meanVelocity(
  ends: readonly GainRow[],
  years: number,
  { reference, direction }: Yardstick,
  transfer: CurveTransfer | null,
): MeanRegressor {
  const oldest = oldestAges(reference);
  const ages = ends.map(({ sex, age }) => Math.min(age + years, Math.max(age, oldest[sex])));
  const x =
    ends.reduce((sum, { sex }, i) => sum + favourableVelocity(reference, direction, sex, ages[i] ?? NaN), 0) /
    ends.length;
  if (transfer === null) return { x, curve: null };
  const row = meanRow(ends.map(({ sex }, i) => velocityRow(reference, sex, ages[i] ?? NaN)));
  return { x, curve: { transfer, row: row.map((entry) => direction * entry) } };
}

function oldestAges(reference: GrowthReference): Record<'female' | 'male', number> {
  const described = describeReference(reference);
  const oldest = { female: Infinity, male: Infinity };
  if ('series' in described) for (const { sex, ages } of described.series) oldest[sex] = ages[1];
  return oldest;
}

function fadingAnswer(model: ReadModel<FadingPartFit>, rows: readonly GainRow[]): FadingAnswer {
  const { tau, tauLower, tauUpper, tauAtEdge, tauBounded, aic } = model.fit;
  // tau is a parameter too.
  const answer = { ...twoPartAnswer(model, rows), aic: aic + 2 };
  return { ...answer, tau, tauLower, tauUpper, tauAtEdge, tauBounded };
}

function twoPartAnswer(model: ReadModel<TwoPartFit>, rows: readonly GainRow[]): ClockAnswer {
  const { fit } = model;
  const atEnd = model.meanAt(0);
  const { covariance } = fit;
  return {
    lasting: tested(fit.lasting),
    passing: tested(fit.passing),
    passingAtEnd: fit.passing.estimate * atEnd.x,
    share: model.share,
    correlation: covariance.both / Math.sqrt(covariance.lasting * covariance.passing),
    patientSd: patientSd(fit),
    residualSd: fit.residualSd,
    simplified: fit.structure === 'diagonal',
    edges: fit.edges,
    logLikelihood: fit.logLikelihood,
    aic: fit.aic,
    course: modelledCourse(model, rows),
  };
}

/** An estimate with its test and interval, as answers hold it. */
export function tested({ estimate, standardError, df, p, lower, upper }: PartEstimate): TestedEstimate {
  return {
    estimate,
    standardError,
    df,
    p,
    limits: lower === null || upper === null ? null : { lower, upper },
  };
}

function patientSd({ betweenPatients }: TwoPartFit): TwoPartAnswer['patientSd'] {
  const lasting = Math.sqrt(betweenPatients.lasting);
  const passing = Math.sqrt(betweenPatients.passing);
  return {
    lasting,
    passing,
    correlation: lasting > 0 && passing > 0 ? betweenPatients.both / (lasting * passing) : null,
  };
}

function modelledCourse(model: ReadModel<TwoPartFit>, rows: readonly GainRow[]): ModelledGain[] {
  const { fit } = model;
  const longest = new Map<string, number>();
  for (const { code, years } of rows) longest.set(code, Math.max(longest.get(code) ?? 0, years));
  const reach = [...longest.values()].sort((a, b) => a - b);
  const last = reach[reach.length - 1] ?? 0;
  const known = fit.lasting.lower !== null && fit.passing.lower !== null;
  return Array.from({ length: Math.floor(last / COURSE_STEP) + 1 }, (_, step) => {
    const years = step * COURSE_STEP;
    const { x } = model.meanAt(years);
    return {
      years,
      lasting: known ? fit.lasting.estimate : null,
      passing: known ? fit.passing.estimate * x : null,
      total: fit.lasting.estimate + fit.passing.estimate * x,
      limits: model.gainLimitsAt(years),
      followed: reach.filter((own) => own >= years).length,
    };
  });
}

/** For each sex of the patients, the age from which growth has nearly ended, and how many were measured after it. */
function quietAges(rows: readonly GainRow[], atEnd: number, { reference, direction }: Yardstick): QuietAge[] {
  const described = describeReference(reference);
  if (!('series' in described)) return [];
  return described.series.flatMap(({ sex, ages }) => {
    const own = rows.filter((row) => row.sex === sex);
    if (own.length === 0) return [];
    const age = quietAge(sex, ages, QUIET_SHARE * atEnd, reference, direction);
    const seen = new Set(own.filter((row) => age !== null && row.age >= age).map(({ code }) => code));
    return [{ sex, age, patients: new Set(own.map(({ code }) => code)).size, seenAfter: seen.size }];
  });
}

/** The age from which on, to the end of the reference, velocity stays below a limit; null where it does not at the end. */
function quietAge(
  sex: QuietAge['sex'],
  [youngest, oldest]: readonly [number, number],
  limit: number,
  reference: GrowthReference,
  direction: 1 | -1,
): number | null {
  const steps = Math.floor((oldest - youngest) / AGE_STEP);
  const isFast = (step: number): boolean =>
    favourableVelocity(reference, direction, sex, oldest - step * AGE_STEP) >= limit;
  for (let step = 0; step <= steps; step++) {
    if (isFast(step)) return step === 0 ? null : oldest - (step - 1) * AGE_STEP;
  }
  return youngest;
}

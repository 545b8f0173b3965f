import type { AnswerRows, OutcomeAnswer, PatientOutcome, Status } from '@longhold/core/answers';
import {
  maturityStageSchema,
  patientCodeSchema,
  protocolCodeSchema,
  sexSchema,
  visitKindSchema,
} from '@longhold/core/records';
import { z } from 'zod';
import { leftOutReasonSchema, ratioFields, statusSchema } from './results-parts';
import { ratioOf } from './results-ratio';
import type { Results } from './results-schema';

/**
 * The parts of results.json that grow with the number of patients: columns of equal length, one entry for each row, so
 * that no name is repeated thousands of times. Every field says what it is.
 */
const column = <Entry extends z.ZodType>(entry: Entry, words: string) => z.array(entry).describe(words);
const number = z.number();
const numberOrNull = z.number().nullable();

const gainColumns = {
  gain: column(
    numberOrNull,
    'adjusted gain A(t), favourable direction positive; null where it cannot be computed',
  ),
  gainMeasurementSd: column(numberOrNull, 'its SD from measurement error'),
  gainGrowthSd: column(numberOrNull, "its SD from the child's own growth and the curve's uncertainty"),
  gainLower: column(numberOrNull, 'lower limit, both uncertainties together'),
  gainUpper: column(numberOrNull, 'upper limit'),
};
const statusColumns = {
  verdict: column(
    statusSchema.shape.verdict.nullable(),
    'what became of the gain; null where it is not judged',
  ),
  reason: column(statusSchema.shape.reason, 'why it cannot be told, or why there is no verdict'),
  margin: column(numberOrNull, 'D: adjusted gain minus threshold, unit of the measure'),
  marginMeasurementSd: column(numberOrNull, 'SD of D from measurement error'),
  marginGrowthSd: column(numberOrNull, "SD of D from the child's own growth and the curve's uncertainty"),
  marginLower: column(numberOrNull, 'lower one-sided limit of D, at the level of the question'),
  marginUpper: column(numberOrNull, 'upper one-sided limit of D, at the level of the question'),
};

export const patientColumnsSchema = z.strictObject({
  code: column(patientCodeSchema, 'pseudonymous code'),
  sex: column(sexSchema, 'sex'),
  protocol: column(protocolCodeSchema.nullable(), 'protocol'),
  expansion: column(z.boolean().nullable(), 'whether the upper jaw was widened'),
  maturityStart: column(maturityStageSchema.nullable(), 'stage of maturity at the start'),
  ageAtEnd: column(numberOrNull, 'age at the end of active treatment, years'),
  horizon: column(numberOrNull, 'years from the end of active treatment to the day of the question'),
  lastSeen: column(numberOrNull, 'years to the latest follow-up visit of any kind; null: none'),
  ...gainColumns,
  ...statusColumns,
  lossLeft: column(numberOrNull, 'last time known not lost, years; null where not in the risk set'),
  lossRight: column(numberOrNull, 'first time known lost, years; null: not seen lost'),
  treatedAgainAt: column(numberOrNull, 'years to a second treatment; null if never'),
  leftOut: column(leftOutReasonSchema.nullable(), 'why not in the risk set; null where in it'),
});

export const visitColumnsSchema = z.strictObject({
  patient: column(patientCodeSchema, 'pseudonymous code'),
  kind: column(visitKindSchema, 'kind of visit'),
  age: column(number, 'age, years'),
  growthAge: column(number, 'age at which growth is read, years'),
  years: column(numberOrNull, 'years since the end of active treatment'),
  value: column(number, 'mean of the films, each the mean of its readings, at natural size'),
  measured: column(number, 'mean of the readings as measured'),
  filmFactor: column(
    numberOrNull,
    'what lengths on its films are multiplied by; null where films do not enlarge the measure',
  ),
  readings: column(number, 'readings in that mean'),
  films: column(number, 'films in that mean, which count alike'),
  retracingShare: column(number, 'what that mean leaves of the variance of one retracing'),
  expectedValue: column(numberOrNull, 'where the value would stand after expected growth from the start'),
  ...gainColumns,
  share: column(numberOrNull, 'retained share A(t)/A(0); null where A(0) is not measurable'),
  shareLower: column(numberOrNull, "lower limit of Fieller's confidence set; read it by `shareIntervalKind`"),
  shareUpper: column(numberOrNull, 'upper limit'),
  shareIntervalKind: column(ratioFields.intervalKind, 'as `intervalKind` above'),
  ...statusColumns,
});

export const unsizedColumnsSchema = z.strictObject({
  patient: column(patientCodeSchema, 'pseudonymous code'),
  kind: column(visitKindSchema, 'kind of visit'),
  age: column(numberOrNull, 'age, years; null where not known'),
  measured: column(number, 'mean of the readings as measured'),
});

export const gainRowsSchema = z.strictObject({
  patient: column(patientCodeSchema, 'pseudonymous code'),
  years: column(number, 'years since the end of active treatment'),
  age: column(number, 'age at which growth is read, years'),
  startAge: column(number, 'the same at the start of treatment'),
  gain: column(number, 'A(t), unit of the measure'),
  velocity: column(number, 'expected growth velocity in the favourable direction, unit per year'),
});

const point = (words: string) => column(numberOrNull, `${words}, mm at natural size; null where not read`);
export const readingColumnsSchema = z.strictObject({
  patient: column(patientCodeSchema, 'pseudonymous code'),
  record: column(
    z.enum(['start', 'end', 'year']),
    'start, end of active treatment, or the visit of `gaveWay.year`',
  ),
  age: column(numberOrNull, 'age, years'),
  ss: point('ss/OLp'),
  pg: point('pg/OLp'),
  is: point('is/OLp'),
  ii: point('ii/OLp'),
  ms: point('ms/OLp'),
  mi: point('mi/OLp'),
  co: point('co/OLp'),
  length: point('Co-Gn'),
});

/** Columns hold so many significant digits: enough to compute everything again, and half the length. */
const DIGITS = 12;

function rounded(value: number): number;
function rounded(value: number | null | undefined): number | null;
function rounded(value: number | null | undefined): number | null {
  return value === null || value === undefined ? null : Number(value.toPrecision(DIGITS));
}

type Gain = PatientOutcome['gain'];
type GainColumns = { [Name in keyof typeof gainColumns]: (number | null)[] };

function gainsIn(gains: readonly Gain[]): GainColumns {
  return {
    gain: gains.map((gain) => rounded(gain?.estimate)),
    gainMeasurementSd: gains.map((gain) => rounded(gain?.measurementSd)),
    gainGrowthSd: gains.map((gain) => rounded(gain?.growthSd)),
    gainLower: gains.map((gain) => rounded(gain?.limits.lower)),
    gainUpper: gains.map((gain) => rounded(gain?.limits.upper)),
  };
}

function statusesIn(statuses: readonly (Status | null)[]) {
  return {
    verdict: statuses.map((status) => status?.verdict ?? null),
    reason: statuses.map((status) => status?.reason ?? null),
    margin: statuses.map((status) => rounded(status?.margin)),
    marginMeasurementSd: statuses.map((status) => rounded(status?.measurementSd)),
    marginGrowthSd: statuses.map((status) => rounded(status?.growthSd)),
    marginLower: statuses.map((status) => rounded(status?.limits?.lower)),
    marginUpper: statuses.map((status) => rounded(status?.limits?.upper)),
  };
}

/** The patients of an answer, their visits, and the visits that are not used, in columns. */
export function patientColumns({
  patients,
  rows,
}: Pick<OutcomeAnswer, 'patients' | 'rows'>): Pick<Results, 'patients' | 'visits' | 'unsized'> {
  const visits = patients.flatMap(({ code, visits: own }) => own.map((visit) => ({ code, ...visit })));
  const shares = visits.map(({ share }) => ratioOf(share));
  const unsized = patients.flatMap(({ code, unsized: own }) => own.map((visit) => ({ code, ...visit })));
  return {
    patients: {
      code: patients.map(({ code }) => code),
      sex: patients.map(({ sex }) => sex),
      protocol: patients.map(({ protocol }) => protocol),
      expansion: patients.map(({ expansion }) => expansion),
      maturityStart: patients.map(({ maturityStart }) => maturityStart),
      ageAtEnd: rows.followed.map(({ ageAtEnd }) => rounded(ageAtEnd)),
      horizon: rows.followed.map(({ horizon }) => rounded(horizon)),
      lastSeen: rows.followed.map(({ lastSeen }) => rounded(lastSeen)),
      ...gainsIn(patients.map(({ gain }) => gain)),
      ...statusesIn(patients.map(({ status }) => status)),
      lossLeft: patients.map(({ loss }) => rounded(loss?.left)),
      lossRight: patients.map(({ loss }) => rounded(loss?.right)),
      treatedAgainAt: patients.map(({ treatedAgainAt }) => rounded(treatedAgainAt)),
      leftOut: patients.map(({ leftOut }) => leftOut),
    },
    visits: {
      patient: visits.map(({ code }) => code),
      kind: visits.map(({ kind }) => kind),
      age: visits.map(({ age }) => rounded(age)),
      growthAge: visits.map(({ growthAge }) => rounded(growthAge)),
      years: visits.map(({ years }) => rounded(years)),
      value: visits.map(({ value }) => rounded(value)),
      measured: visits.map(({ measured }) => rounded(measured)),
      filmFactor: visits.map(({ filmFactor }) => filmFactor),
      readings: visits.map(({ readings }) => readings),
      films: visits.map(({ films }) => films),
      retracingShare: visits.map(({ retracingShare }) => rounded(retracingShare)),
      expectedValue: visits.map(({ expected }) => rounded(expected?.value)),
      ...gainsIn(visits.map(({ gain }) => gain)),
      share: shares.map(({ estimate }) => rounded(estimate)),
      shareLower: shares.map(({ limits }) => rounded(limits?.lower)),
      shareUpper: shares.map(({ limits }) => rounded(limits?.upper)),
      shareIntervalKind: shares.map(({ intervalKind }) => intervalKind),
      ...statusesIn(visits.map(({ status }) => status)),
    },
    unsized: {
      patient: unsized.map(({ code }) => code),
      kind: unsized.map(({ kind }) => kind),
      age: unsized.map(({ age }) => rounded(age)),
      measured: unsized.map(({ measured }) => rounded(measured)),
    },
  };
}

/** The measured gains behind the models of lasting and passing gain, in columns. */
export function gainColumnsOf(gains: OutcomeAnswer['gains']): Results['gains'] {
  return {
    patient: gains.map(({ code }) => code),
    years: gains.map(({ years }) => rounded(years)),
    age: gains.map(({ age }) => rounded(age)),
    startAge: gains.map(({ startAge }) => rounded(startAge)),
    gain: gains.map(({ gain }) => rounded(gain)),
    velocity: gains.map(({ velocity }) => rounded(velocity)),
  };
}

/** The readings behind what gave way, in columns. */
export function readingColumns(readings: AnswerRows['gaveWay']): Results['gaveWay']['readings'] {
  const at = (name: keyof AnswerRows['gaveWay'][number]['points']): (number | null)[] =>
    readings.map(({ points }) => rounded(points[name]));
  return {
    patient: readings.map(({ code }) => code),
    record: readings.map(({ record }) => record),
    age: readings.map(({ age }) => rounded(age)),
    ss: at('ss-OLp'),
    pg: at('pg-OLp'),
    is: at('is-OLp'),
    ii: at('ii-OLp'),
    ms: at('ms-OLp'),
    mi: at('mi-OLp'),
    co: at('co-OLp'),
    length: at('Co-Gn'),
  };
}

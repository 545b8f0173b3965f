import { studyAsOf } from '../answers/study-as-of';
import { findMeasure } from '../measures/catalogue';
import {
  ageAtVisit,
  DAYS_PER_YEAR,
  lacksFilmFactor,
  latestDate,
  visitValue,
  withFilmFactor,
  type IsoDate,
  type PatientHistory,
  type Study,
  type Visit,
} from '../records';
import {
  pooledRecordSchema,
  pseudonymSchema,
  type PooledRecord,
  type PooledValue,
  type PooledVisit,
} from './pooled-record';
import type { StudyDefinition } from './study-definition';
import { dayOfDate, endOfActiveTreatment, firstVisit, yearsRead, type TimeZero } from './time-zero';

/** Why a patient of the clinic is not in its contribution. */
export type NotContributedReason =
  | 'no-pooling-consent'
  | 'no-follow-up-consent'
  | 'no-end'
  | 'no-start'
  | 'no-age'
  | 'untreated-not-needed'
  | 'nothing-measured'
  | 'outside-limits'
  | 'too-few-alike';

/** A patient who is not in the contribution. For the clinic's own eyes: it holds the clinic's own code. */
export interface NotContributed {
  readonly code: string;
  readonly pseudonym: string;
  readonly group: PooledRecord['group'];
  readonly reason: NotContributedReason;
}

/** What is set at the clinic, and bears on what leaves. */
export interface ClinicContext {
  /** The day up to which the records are read; null takes the latest date in them. */
  readonly asOf: IsoDate | null;
  /** What lengths on films that carry no factor of their own are multiplied by; null where it is not known. */
  readonly filmFactor: number | null;
}

/** What of the contributed patients' records cannot leave or is of no use to the pool; numbers of each. */
export interface NotUsed {
  /** Values of lengths on films of unknown factor. */
  readonly valuesWithoutFactor: number;
  /** Values at visits of unknown age. */
  readonly valuesWithoutAge: number;
  /** Visits and events that cannot be counted from time zero. */
  readonly visitsNotPlaced: number;
  readonly eventsNotPlaced: number;
  /** Visits before the start of treatment, and follow-up visits before its end: no answer uses them. */
  readonly visitsTooEarly: number;
  /** Patients whose protocol is not in the study's list. */
  readonly protocolsNotListed: number;
}

/** One contributed patient: the record as it is before coarsening, and the history it was made from. */
export interface Deidentified {
  readonly record: PooledRecord;
  readonly history: PatientHistory;
}

/** A study without anything that names a patient, not coarsened yet. */
export interface DeidentifiedStudy {
  /** In the order of their pseudonyms, which says nothing about them. */
  readonly contributed: readonly Deidentified[];
  readonly leftOut: readonly NotContributed[];
  readonly notUsed: NotUsed;
}

type Tally = { -readonly [Key in keyof NotUsed]: NotUsed[Key] };

/**
 * Takes out of a study what a pool may have of it under a definition: of consenting patients only, the definition's
 * measures at natural size with one value a visit, days from time zero, and the age at time zero in whole months.
 * Every record is made field by field and then passes the strict schema; one that doesn't is left out and named.
 * Not for sending: `clinicContribution` coarsens small groups first.
 *
 * @param pseudonymOf the clinic's pseudonym of a patient code; the same for the same code
 * @throws RangeError where two codes get one pseudonym, or a measure is not in the catalogue; ZodError for a pseudonym
 *   that is not 32 hexadecimal digits
 */
export function deidentify(
  study: Study,
  definition: StudyDefinition,
  pseudonymOf: (code: string) => string,
  context: ClinicContext,
): DeidentifiedStudy {
  for (const code of definition.measures) {
    if (findMeasure(code) === undefined)
      throw new RangeError(`deidentify: no measure ${code} in the catalogue`);
  }
  const asOf = context.asOf ?? latestDate(study);
  const known = withFilmFactor(studyAsOf(study, asOf), context.filmFactor);
  const notUsed: Tally = {
    valuesWithoutFactor: 0,
    valuesWithoutAge: 0,
    visitsNotPlaced: 0,
    eventsNotPlaced: 0,
    visitsTooEarly: 0,
    protocolsNotListed: 0,
  };
  const contributed: Deidentified[] = [];
  const leftOut: NotContributed[] = [];
  const given = new Set<string>();
  for (const history of known) {
    const { code, group } = history.patient;
    const pseudonym = pseudonymSchema.parse(pseudonymOf(code));
    if (given.has(pseudonym)) throw new RangeError('deidentify: two patients have one pseudonym');
    given.add(pseudonym);
    const made = whyNotAsked(history, definition) ?? recordOf(history, pseudonym, definition, asOf, notUsed);
    if (typeof made === 'string') leftOut.push({ code, pseudonym, group, reason: made });
    else contributed.push({ record: made, history });
  }
  contributed.sort((a, b) => (a.record.pseudonym < b.record.pseudonym ? -1 : 1));
  return { contributed, leftOut, notUsed };
}

/**
 * Whether a patient may be asked for a contribution at all; null for yes. Treated patients need both consents, because
 * without the one for follow-up the answers don't judge them. Untreated children are asked for only where the
 * definition learns growth from them.
 */
function whyNotAsked(
  { patient }: PatientHistory,
  { reference }: StudyDefinition,
): NotContributedReason | null {
  if (!patient.consentPooling) return 'no-pooling-consent';
  if (patient.group === 'treated') return patient.consentFollowUp ? null : 'no-follow-up-consent';
  return reference.kind === 'own-untreated-series' ? null : 'untreated-not-needed';
}

function recordOf(
  history: PatientHistory,
  pseudonym: string,
  definition: StudyDefinition,
  asOf: IsoDate | null,
  notUsed: Tally,
): PooledRecord | NotContributedReason {
  const tally: Tally = { ...notUsed };
  const made =
    history.patient.group === 'treated'
      ? treatedRecord(history, pseudonym, definition, asOf, tally)
      : untreatedRecord(history, pseudonym, definition, tally);
  if (typeof made === 'string') return made;
  const checked = pooledRecordSchema.safeParse(made);
  if (!checked.success) return 'outside-limits';
  Object.assign(notUsed, tally);
  return checked.data;
}

function treatedRecord(
  history: PatientHistory,
  pseudonym: string,
  definition: StudyDefinition,
  asOf: IsoDate | null,
  tally: Tally,
): PooledRecord | NotContributedReason {
  const { patient } = history;
  const zero = endOfActiveTreatment(history);
  if (zero === null) return 'no-end';
  const starts = history.visits.flatMap((visit) => (visit.kind === 'start' ? (zero.dayOf(visit) ?? []) : []));
  if (starts.length === 0) return 'no-start';
  if (zero.age === null) return 'no-age';
  const startDay = Math.min(...starts);
  const inTime = ({ kind }: Visit, day: number): boolean =>
    day >= startDay && (kind !== 'follow_up' || day > 0);
  const visits = pooledVisits(history, zero, definition, inTime, tally);
  const listed = patient.protocol !== null && definition.protocols.includes(patient.protocol);
  if (patient.protocol !== null && !listed) tally.protocolsNotListed += 1;
  return {
    pseudonym,
    group: 'treated',
    sex: patient.sex,
    ageMonths: wholeMonths(zero.age),
    protocol: listed ? patient.protocol : null,
    expansion: patient.expansion,
    maturityStart: patient.maturityStart,
    yearsPassed: windowsClosed(zero, asOf, visits),
    visits,
    events: pooledEvents(history, zero, tally),
  };
}

function untreatedRecord(
  history: PatientHistory,
  pseudonym: string,
  definition: StudyDefinition,
  tally: Tally,
): PooledRecord | NotContributedReason {
  const zero = firstVisit(history);
  if (zero?.age === undefined || zero.age === null) return 'no-age';
  const visits = pooledVisits(history, zero, definition, () => true, tally);
  const measured = visits.filter(({ values }) => values.length > 0);
  if (measured.length === 0) return 'nothing-measured';
  return {
    pseudonym,
    group: 'untreated',
    sex: history.patient.sex,
    ageMonths: wholeMonths(zero.age),
    protocol: null,
    expansion: null,
    maturityStart: null,
    yearsPassed: 0,
    visits: measured,
    events: [],
  };
}

function wholeMonths(years: number): number {
  return Math.round(12 * years);
}

/**
 * How many yearly windows have closed, as `followUpFlow` counts: a year counts once half a year more has passed. A
 * patient without a calendar counts up to the year of the last follow-up visit.
 */
function windowsClosed(zero: TimeZero, asOf: IsoDate | null, visits: readonly PooledVisit[]): number {
  const years = yearsRead(zero, asOf);
  if (years !== null) return Math.max(0, Math.floor(years - 0.5));
  const last = visits.reduce(
    (latest, { kind, day }) => (kind === 'follow_up' ? Math.max(latest, day) : latest),
    0,
  );
  return Math.round(last / DAYS_PER_YEAR);
}

function pooledVisits(
  history: PatientHistory,
  zero: TimeZero,
  { measures }: StudyDefinition,
  inTime: (visit: Visit, day: number) => boolean,
  tally: Tally,
): PooledVisit[] {
  const visits = history.visits.flatMap((visit): PooledVisit[] => {
    const day = zero.dayOf(visit);
    if (day === null) {
      tally.visitsNotPlaced += 1;
      return [];
    }
    if (!inTime(visit, day)) {
      tally.visitsTooEarly += 1;
      return [];
    }
    const aged = ageAtVisit(history.patient, visit) !== null;
    const values = [...new Set(measures)].flatMap((measure) => pooledValue(visit, measure, tally) ?? []);
    if (!aged) tally.valuesWithoutAge += values.length;
    return [{ kind: visit.kind, day, values: aged ? values : [] }];
  });
  return visits.sort((a, b) => a.day - b.day || (a.kind < b.kind ? -1 : 1));
}

/** The mean of all readings at natural size; null where not measured, or where the natural size is not known. */
function pooledValue(visit: Visit, measure: string, tally: Tally): PooledValue | null {
  const mean = visitValue(visit, measure);
  if (mean === null) {
    if (lacksFilmFactor(visit, measure)) tally.valuesWithoutFactor += 1;
    return null;
  }
  const films = new Set(visit.measurements.flatMap((one) => (one.measure === measure ? [one.film] : [])));
  return {
    measure,
    value: mean.value,
    films: films.size,
    readings: Math.min(99, mean.readings),
    magnification: magnificationOf(mean.filmFactor),
  };
}

function magnificationOf(filmFactor: number | null): PooledValue['magnification'] {
  if (filmFactor === null) return 'not-enlarged';
  return filmFactor === 1 ? 'natural' : 'by-factor';
}

function pooledEvents({ events }: PatientHistory, zero: TimeZero, tally: Tally): PooledRecord['events'] {
  const placed = events.flatMap(({ date, event }) => {
    const day = dayOfDate(zero, date);
    if (day === null) tally.eventsNotPlaced += 1;
    return day === null ? [] : [{ event, day }];
  });
  return placed.sort((a, b) => a.day - b.day || (a.event < b.event ? -1 : 1));
}

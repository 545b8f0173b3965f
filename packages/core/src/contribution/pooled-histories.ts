import {
  addDays,
  DAYS_PER_YEAR,
  maturityStageSchema,
  type IsoDate,
  type MaturityGroup,
  type MaturityStage,
  type PatientHistory,
} from '../records';
import { findMeasure } from '../measures/catalogue';
import type { PooledRecord, PooledValue, PooledVisit } from './pooled-record';

/** The invented day on which contributed records are read. It is nobody's date. */
export const POOL_DAY: IsoDate = '2150-01-01';

/** A stage that stands for its group where only the group was contributed; only the group may be read from it. */
const STAGE_OF_GROUP = {
  'before-peak': 'CS1',
  'around-peak': 'CS3',
  'after-peak': 'CS5',
} as const satisfies Record<MaturityGroup, MaturityStage>;

/**
 * Contributed records as histories, so that everything that reads a clinic's own records reads a pool's.
 * Treated patients stand on an invented calendar: each one's end of active treatment lies so long before `POOL_DAY`
 * that just the contributed number of yearly windows has closed. Days from time zero and ages are as contributed, and
 * ages are given, not reckoned from a birth date, for there is none. Values are at natural size.
 *
 * Against the clinic's own histories: times of visits and events are equal to the day, all ages of one patient are off by
 * the same amount, at most half the width of the age band plus half a month. The time since the last visit is not
 * known to better than a year, so what depends on it (who stayed away) is not for pooled records.
 *
 * @param records of one centre or more; pseudonyms are taken as patient codes
 */
export function pooledHistories(records: readonly PooledRecord[]): PatientHistory[] {
  return records.map(pooledHistory);
}

function pooledHistory(record: PooledRecord): PatientHistory {
  const treated = record.group === 'treated';
  const zero = addDays(POOL_DAY, -daysRead(record));
  return {
    patient: {
      code: record.pseudonym,
      sex: record.sex,
      birthDate: null,
      group: record.group,
      protocol: record.protocol,
      expansion: record.expansion,
      maturityStart: stageOf(record.maturityStart),
      treatmentStart: null,
      activeEnd: treated ? zero : null,
      consentFollowUp: true,
      consentPooling: true,
    },
    visits: record.visits.map((visit) =>
      historyVisit(visit, record, treated ? addDays(zero, visit.day) : null),
    ),
    events: treated ? record.events.map(({ event, day }) => ({ event, date: addDays(zero, day) })) : [],
  };
}

/**
 * Days from time zero to the day of reading: the last day before one more window closes. Rounding may have moved a
 * visit past it; then that many windows count as closed as the visit shows.
 */
function daysRead({ yearsPassed, visits, events }: PooledRecord): number {
  const last = Math.max(0, ...visits.map(({ day }) => day), ...events.map(({ day }) => day));
  const windows = Math.max(yearsPassed, Math.floor(last / DAYS_PER_YEAR - 0.5));
  return Math.ceil((windows + 1.5) * DAYS_PER_YEAR) - 1;
}

function stageOf(maturity: PooledRecord['maturityStart']): MaturityStage | null {
  if (maturity === null) return null;
  const stage = maturityStageSchema.safeParse(maturity);
  if (stage.success) return stage.data;
  return maturity === 'before-peak' || maturity === 'around-peak' || maturity === 'after-peak'
    ? STAGE_OF_GROUP[maturity]
    : null;
}

function historyVisit(
  { kind, day, values }: PooledVisit,
  { ageMonths }: PooledRecord,
  date: IsoDate | null,
): PatientHistory['visits'][number] {
  return {
    kind,
    date,
    ageYears: Math.max(0, ageMonths / 12 + day / DAYS_PER_YEAR),
    filmFactor: 1,
    filmFactorEvidence: 'stated_by_source',
    measurements: values.flatMap(readingsOf),
  };
}

/**
 * A contributed mean as that many equal readings, spread over its films: how precise a value is hangs on their number.
 * Each has an examiner of its own, so that none of them is taken for a retracing of another.
 */
function readingsOf({
  measure,
  value,
  films,
  readings,
}: PooledValue): PatientHistory['visits'][number]['measurements'] {
  return Array.from({ length: readings }, (_, i) => ({
    measure,
    value,
    unit: findMeasure(measure)?.unit ?? 'mm',
    replicate: 1,
    examiner: String(i + 1),
    film: 1 + (i % films),
  }));
}

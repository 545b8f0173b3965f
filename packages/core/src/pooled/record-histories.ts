import type { PooledRecord, PooledValue, PooledVisit } from '../contribution/pooled-record';
import { findMeasure } from '../measures';
import {
  addDays,
  maturityStageSchema,
  DAYS_PER_YEAR,
  type IsoDate,
  type MaturityGroup,
  type MaturityStage,
  type PatientHistory,
} from '../records';

/** The day on which every invented calendar of a pooled record ends; it has nothing to do with any real date. */
export const INVENTED_TODAY: IsoDate = '2150-01-01';

const DAYS_PER_MONTH = DAYS_PER_YEAR / 12;

/** A stage that stands for its group where only the group was contributed: nothing finer is ever read from it. */
const STAGE_OF_GROUP = {
  'before-peak': 'CS1',
  'around-peak': 'CS3',
  'after-peak': 'CS5',
} as const satisfies Record<MaturityGroup, MaturityStage>;

/**
 * Pooled records as histories that the answers can read. Each gets an invented calendar on which `INVENTED_TODAY` lies
 * as many whole years after time zero as have passed, so that days, ages and eligible years come out as contributed.
 * The code of a history is its pseudonym.
 */
export function recordHistories(records: readonly PooledRecord[]): PatientHistory[] {
  return records.map(recordHistory);
}

function recordHistory(record: PooledRecord): PatientHistory {
  const zero = addDays(INVENTED_TODAY, -Math.ceil(record.yearsPassed * DAYS_PER_YEAR));
  const treated = record.group === 'treated';
  return {
    patient: {
      code: record.pseudonym,
      sex: record.sex,
      birthDate: addDays(zero, -Math.round(record.ageMonths * DAYS_PER_MONTH)),
      group: record.group,
      protocol: record.protocol,
      expansion: record.expansion,
      maturityStart: stageOf(record.maturityStart),
      treatmentStart: null,
      activeEnd: treated ? zero : null,
      consentFollowUp: true,
      consentPooling: true,
    },
    visits: record.visits.map((visit) => visitOn(visit, zero)),
    events: record.events.map(({ event, day }) => ({ event, date: addDays(zero, day) })),
  };
}

function stageOf(maturity: PooledRecord['maturityStart']): MaturityStage | null {
  if (maturity === null) return null;
  const stage = maturityStageSchema.safeParse(maturity);
  if (stage.success) return stage.data;
  return maturity === 'before-peak' || maturity === 'around-peak' || maturity === 'after-peak'
    ? STAGE_OF_GROUP[maturity]
    : null;
}

function visitOn({ kind, day, values }: PooledVisit, zero: IsoDate): PatientHistory['visits'][number] {
  return {
    kind,
    date: addDays(zero, day),
    ageYears: null,
    // Pooled lengths are at natural size.
    filmFactor: 1,
    filmFactorEvidence: 'stated_by_source',
    measurements: values.flatMap(readingsOf),
  };
}

/** As many readings as stand behind a value, each equal to it, spread over its films. */
function readingsOf({ measure, value, films, readings }: PooledValue) {
  const unit = findMeasure(measure)?.unit;
  if (unit === undefined) return [];
  return Array.from({ length: readings }, (_, i) => ({
    measure,
    value,
    unit,
    replicate: Math.floor(i / films) + 1,
    examiner: '',
    film: (i % films) + 1,
  }));
}

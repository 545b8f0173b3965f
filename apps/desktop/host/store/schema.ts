import { index, integer, primaryKey, real, sqliteTable, text } from 'drizzle-orm/sqlite-core';
import type {
  FilmFactorEvidence,
  MaturityStage,
  Measurement,
  Patient,
  PatientEvent,
  Visit,
} from '@longhold/core/records';

/** One row a patient. `seal` is the keyed digest of the patient with all visits, measurements and events. */
export const patients = sqliteTable('patients', {
  code: text('code').primaryKey(),
  sex: text('sex').$type<Patient['sex']>().notNull(),
  birthDate: text('birth_date'),
  group: text('group').$type<Patient['group']>().notNull(),
  protocol: text('protocol'),
  expansion: integer('expansion', { mode: 'boolean' }),
  maturityStart: text('maturity_start').$type<MaturityStage>(),
  treatmentStart: text('treatment_start'),
  activeEnd: text('active_end'),
  consentFollowUp: integer('consent_follow_up', { mode: 'boolean' }).notNull(),
  consentPooling: integer('consent_pooling', { mode: 'boolean' }).notNull(),
  seal: text('seal').notNull(),
});

export const visits = sqliteTable(
  'visits',
  {
    id: integer('id').primaryKey(),
    patientCode: text('patient_code')
      .notNull()
      .references(() => patients.code),
    kind: text('kind').$type<Visit['kind']>().notNull(),
    date: text('date'),
    ageYears: real('age_years'),
    filmFactor: real('film_factor'),
    filmFactorEvidence: text('film_factor_evidence').$type<FilmFactorEvidence>(),
  },
  (table) => [index('visits_by_patient').on(table.patientCode)],
);

/** `position` counts the readings of a visit from 0, so that they come back in the order they were given. */
export const measurements = sqliteTable(
  'measurements',
  {
    visitId: integer('visit_id')
      .notNull()
      .references(() => visits.id),
    position: integer('position').notNull(),
    measure: text('measure').notNull(),
    value: real('value').notNull(),
    unit: text('unit').$type<Measurement['unit']>().notNull(),
    replicate: integer('replicate').notNull(),
    examiner: text('examiner').notNull(),
    film: integer('film').notNull().default(1),
  },
  (table) => [primaryKey({ columns: [table.visitId, table.position] })],
);

export const events = sqliteTable(
  'events',
  {
    patientCode: text('patient_code')
      .notNull()
      .references(() => patients.code),
    position: integer('position').notNull(),
    date: text('date').notNull(),
    event: text('event').$type<PatientEvent['event']>().notNull(),
  },
  (table) => [primaryKey({ columns: [table.patientCode, table.position] })],
);

/** One row a growth table that the clinic imported, its content as JSON. `seal` is the keyed digest of the whole table. */
export const growthTables = sqliteTable(
  'growth_tables',
  {
    name: text('name').notNull(),
    measure: text('measure').notNull(),
    content: text('content').notNull(),
    seal: text('seal').notNull(),
  },
  (table) => [primaryKey({ columns: [table.name, table.measure] })],
);

/** What the store keeps of pooling (`pooling-documents.ts`): one row a document, its content as JSON. */
export const pooling = sqliteTable(
  'pooling',
  {
    kind: text('kind').notNull(),
    key: text('key').notNull(),
    content: text('content').notNull(),
    seal: text('seal').notNull(),
  },
  (table) => [primaryKey({ columns: [table.kind, table.key] })],
);

/** One row a change, never altered. `seal` covers the row and the seal of the row before it. */
export const audit = sqliteTable('audit', {
  id: integer('id').primaryKey(),
  at: text('at').notNull(),
  actor: text('actor').notNull(),
  action: text('action').notNull(),
  patientCode: text('patient_code'),
  before: text('before'),
  after: text('after'),
  seal: text('seal').notNull(),
});

/** The store's own ledger and the settings of this store, each as JSON. */
export const settings = sqliteTable('settings', {
  key: text('key').primaryKey(),
  value: text('value').notNull(),
  seal: text('seal').notNull(),
});

/** Every table of a store. */
export const TABLES = {
  patients,
  visits,
  measurements,
  events,
  growth_tables: growthTables,
  pooling,
  audit,
  settings,
} as const;
export type TableName = keyof typeof TABLES;

// The rows and the records of core must have the same fields and types; a difference is a compile error here.
type Same<A, B> = (<T>() => T extends A ? 1 : 2) extends <T>() => T extends B ? 1 : 2 ? true : never;
type Plain<T> = { [K in keyof T]: T[K] };
type RowOf<T extends { $inferSelect: object }, Own extends string> = Plain<Omit<T['$inferSelect'], Own>>;

export const ROWS_FIT_RECORDS: readonly [
  Same<RowOf<typeof patients, 'seal'>, Plain<Patient>>,
  Same<RowOf<typeof visits, 'id' | 'patientCode'>, Plain<Omit<Visit, 'measurements'>>>,
  Same<RowOf<typeof measurements, 'visitId' | 'position'>, Plain<Measurement>>,
  Same<RowOf<typeof events, 'patientCode' | 'position'>, Plain<PatientEvent>>,
] = [true, true, true, true];

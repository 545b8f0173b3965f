import { asc, eq, inArray } from 'drizzle-orm';
import { patientHistorySchema, type PatientHistory, type Study } from '@longhold/core/records';
import type { Database, ReadTransaction } from './database';
import { StoreError } from './errors';
import { guardedColumns } from './guarded-columns';
import type { Ledger } from './ledger';
import { events, measurements, patients, visits, type TableName } from './schema';
import { adjustSealSum, NO_SEALS, type Sealer } from './seals';

/** Where to read, and whom: null is everybody. */
interface Reader {
  readonly database: Database;
  readonly transaction: ReadTransaction;
  readonly code: string | null;
}

/** A history as the rows give it, not yet checked, with the names of its rows for messages. */
interface Draft {
  readonly history: { patient: Record<string, unknown>; visits: VisitDraft[]; events: unknown[] };
  readonly seal: unknown;
  readonly visitIds: unknown[];
}

interface VisitDraft {
  kind: unknown;
  date: unknown;
  ageYears: unknown;
  filmFactor: unknown;
  filmFactorEvidence: unknown;
  measurements: Record<string, unknown>[];
}

/**
 * Every patient of the store, by code, checked one by one (see `readHistories`) and as a whole against the ledger.
 * @throws StoreError store-damaged; nothing is ever left out.
 */
export async function readWholeStudy(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  ledger: Ledger,
): Promise<Study> {
  const seals: string[] = [];
  const study = await readHistories(database, transaction, sealer, null, (seal) => seals.push(seal));
  if (study.length !== ledger.patients || adjustSealSum(NO_SEALS, seals, []) !== ledger.patientSeals) {
    const detail = `table patients holds ${study.length} rows that are not the ${ledger.patients} last written`;
    throw new StoreError('store-damaged', database.path, detail);
  }
  return study;
}

/**
 * One patient, or all (code null), ordered by code; visits, readings and events in the order they were given. Four
 * queries in all, whatever the number of patients. Each is checked by core's schema and against its seal.
 * @throws StoreError store-damaged, naming table and row, when anything does not fit.
 */
export async function readHistories(
  database: Database,
  transaction: ReadTransaction,
  sealer: Sealer,
  code: string | null,
  onSeal: (seal: string) => void = () => undefined,
): Promise<PatientHistory[]> {
  const reader: Reader = { database, transaction, code };
  const drafts = await readPatients(reader);
  const visitDrafts = await readVisits(reader, drafts);
  await readMeasurements(reader, visitDrafts);
  await readEvents(reader, drafts);
  return Array.from(drafts.values(), (draft) => {
    const history = checked(draft, database.path);
    const seal = sealer.patient(history);
    if (seal !== draft.seal) {
      throw damagedRow(database.path, 'patients', history.patient.code, 'altered outside this program');
    }
    onSeal(seal);
    return history;
  });
}

async function readPatients({ database, transaction, code }: Reader): Promise<Map<unknown, Draft>> {
  const query = database.build
    .select(guardedColumns(patients))
    .from(patients)
    .where(code === null ? undefined : eq(patients.code, code))
    .orderBy(asc(patients.code));
  const drafts = new Map<unknown, Draft>();
  for (const row of await transaction.rows(query)) {
    const patient = {
      code: row[0],
      sex: row[1],
      birthDate: row[2],
      group: row[3],
      protocol: row[4],
      expansion: asBoolean(row[5]),
      maturityStart: row[6],
      treatmentStart: row[7],
      activeEnd: row[8],
      consentFollowUp: asBoolean(row[9]),
      consentPooling: asBoolean(row[10]),
    };
    drafts.set(row[0], { history: { patient, visits: [], events: [] }, seal: row[11], visitIds: [] });
  }
  return drafts;
}

async function readVisits(
  { database, transaction, code }: Reader,
  drafts: Map<unknown, Draft>,
): Promise<Map<unknown, VisitDraft>> {
  const query = database.build
    .select(guardedColumns(visits))
    .from(visits)
    .where(code === null ? undefined : eq(visits.patientCode, code))
    .orderBy(asc(visits.id));
  const visitDrafts = new Map<unknown, VisitDraft>();
  for (const row of await transaction.rows(query)) {
    const draft = parent(drafts.get(row[1]), database.path, 'visits', row[0]);
    const visit = {
      kind: row[2],
      date: row[3],
      ageYears: row[4],
      filmFactor: row[5],
      filmFactorEvidence: row[6],
      measurements: [],
    };
    draft.history.visits.push(visit);
    draft.visitIds.push(row[0]);
    visitDrafts.set(row[0], visit);
  }
  return visitDrafts;
}

async function readMeasurements(
  { database, transaction, code }: Reader,
  visitDrafts: Map<unknown, VisitDraft>,
): Promise<void> {
  const theirVisits =
    code === null
      ? undefined
      : database.build.select({ id: visits.id }).from(visits).where(eq(visits.patientCode, code));
  const query = database.build
    .select(guardedColumns(measurements))
    .from(measurements)
    .where(theirVisits && inArray(measurements.visitId, theirVisits))
    .orderBy(asc(measurements.visitId), asc(measurements.position));
  for (const row of await transaction.rows(query)) {
    const visit = parent(
      visitDrafts.get(row[0]),
      database.path,
      'measurements',
      `of visit ${String(row[0])}`,
    );
    visit.measurements.push({
      measure: row[2],
      value: row[3],
      unit: row[4],
      replicate: row[5],
      examiner: row[6],
      film: row[7],
    });
  }
}

async function readEvents(
  { database, transaction, code }: Reader,
  drafts: Map<unknown, Draft>,
): Promise<void> {
  const query = database.build
    .select(guardedColumns(events))
    .from(events)
    .where(code === null ? undefined : eq(events.patientCode, code))
    .orderBy(asc(events.patientCode), asc(events.position));
  for (const row of await transaction.rows(query)) {
    const draft = parent(drafts.get(row[0]), database.path, 'events', `of patient ${String(row[0])}`);
    draft.history.events.push({ date: row[2], event: row[3] });
  }
}

function parent<T>(found: T | undefined, path: string, table: TableName, row: unknown): T {
  if (found === undefined) throw damagedRow(path, table, row, 'belongs to nothing in the store');
  return found;
}

/** SQLite keeps yes and no as 1 and 0; anything else is handed on for the schema to refuse. */
function asBoolean(value: unknown): unknown {
  return value === 1 ? true : value === 0 ? false : value;
}

function checked(draft: Draft, path: string): PatientHistory {
  const result = patientHistorySchema.safeParse(draft.history);
  if (result.success) return result.data;
  const at = result.error.issues[0]?.path ?? [];
  const code = draft.history.patient['code'];
  const field = String(at[at.length - 1] ?? 'the row');
  const [part, position, inner] = at;
  if (part === 'visits' && typeof position === 'number') {
    const visitId = String(draft.visitIds[position]);
    if (inner !== 'measurements') throw damagedRow(path, 'visits', visitId, `${field} cannot be right`);
    throw damagedRow(
      path,
      'measurements',
      `${String(at[3])} of visit ${visitId}`,
      `${field} cannot be right`,
    );
  }
  if (part === 'events') {
    throw damagedRow(
      path,
      'events',
      `${String(position)} of patient ${String(code)}`,
      `${field} cannot be right`,
    );
  }
  throw damagedRow(path, 'patients', code, `${field} cannot be right`);
}

function damagedRow(path: string, table: TableName, row: unknown, how: string): StoreError {
  return new StoreError('store-damaged', path, `table ${table}, row ${String(row)}: ${how}`);
}

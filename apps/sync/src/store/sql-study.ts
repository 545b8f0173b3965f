import { sql, type SQL } from 'drizzle-orm';
import { auditEntrySchema, roleSchema, type AuditEntry } from '@longhold/core/exchange';
import { z } from 'zod';
import {
  STORED_TABLES,
  type BatchRow,
  type CodeRow,
  type DefinitionRow,
  type DeviceRow,
  type HeadRow,
  type MemberRow,
  type PatientRow,
  type SheetRow,
  type StoredRow,
  type StoredTable,
  type StudyRow,
  type StudyWriter,
  type TombstoneRow,
  type VersionFacts,
  type VersionRow,
} from './sync-store';
import { poolReads, poolWrites } from './sql-pool';
import { count, firstOf, flag, loadRows, named, theOne, type Ask, type Insert, type Run } from './sql-rows';

/** What one database's transaction offers: the rest is SQL that both understand. */
export interface SqlTransaction {
  /** Runs a statement and returns its rows, by column name. */
  readonly rows: (statement: SQL) => Promise<readonly unknown[]>;
  readonly insert: Insert;
  /** Locks the member's row until the transaction ends; nothing where a write transaction is alone anyway. */
  readonly holdMember: (member: string) => Promise<void>;
}

const text = z.string();

const studyRow = z.object({ id: text, epoch: text, sequence: count });
const memberRow = z.object({ id: text, role: roleSchema, number: count });
const deviceRow = z.object({
  id: text,
  member: text,
  role: roleSchema,
  number: count,
  tokenDigest: text,
  nextTokenDigest: text.nullable(),
  revoked: flag,
});
const codeRow = z.object({ digest: text, member: text, expires: text, used: flag });
const definitionRow = z.object({ version: count, body: text });
const batchRow = z.object({ member: text, batch: text, digest: text, sequence: count });
const factsRow = z.object({
  pseudonym: text,
  version: text,
  basedOn: text.nullable(),
  sequence: count,
  batch: text,
  head: flag,
});
const headRow = z.object({
  member: text,
  pseudonym: text,
  version: text,
  basedOn: text.nullable(),
  sequence: count,
  batch: text,
  definition: count,
  body: text,
});
const tombstoneRow = z.object({
  member: text,
  digest: text,
  sequence: count,
  receipt: text,
  versionsRemoved: count,
  month: text,
  firstSequence: count.nullable(),
});
const sheetRow = z.object({ member: text, definition: count, sequence: count, body: text });
const auditRow = z
  .object({ at: text, member: text, device: text, action: text, subject: text, count })
  .transform((row) => ({ ...row, member: row.member || null, device: row.device || null }))
  .pipe(auditEntrySchema);
const patientRow = z.object({ pseudonym: text, versions: count, firstSequence: count });
const numberRow = z.object({ number: count });
const storedRow = z.record(z.string(), z.union([z.string(), z.number(), z.null()]));

const DEVICE = sql.raw(`SELECT d.id, d.member, m.role, m.number, d.token_digest AS "tokenDigest",
  d.next_token_digest AS "nextTokenDigest", d.revoked FROM devices d JOIN members m ON m.id = d.member`);
const HEAD =
  sql.raw(`SELECT member, pseudonym, version, based_on AS "basedOn", sequence, batch, definition, body
  FROM versions`);
const TOMBSTONE =
  sql.raw(`SELECT member, digest, sequence, receipt, versions_removed AS "versionsRemoved", month,
  first_sequence AS "firstSequence" FROM tombstones`);

/** Reads and changes of the study, in SQL that SQLite and PostgreSQL both understand. */
export function sqlStudy(transaction: SqlTransaction): StudyWriter {
  const ask: Ask = async (schema, statement) =>
    (await transaction.rows(statement)).map((row) => schema.parse(row));
  const run = async (statement: SQL): Promise<void> => void (await transaction.rows(statement));
  return {
    ...peopleReads(ask),
    ...recordReads(ask),
    ...peopleWrites(ask, run),
    ...recordWrites(ask, run, transaction.insert),
    ...poolReads(ask),
    ...poolWrites(run, transaction.insert),
    holdMember: transaction.holdMember,
    load: (table, rows) => loadRows(transaction.insert, table, rows),
    adoptStudy: ({ id, epoch, sequence }) =>
      run(sql`UPDATE study SET id = ${id}, epoch = ${epoch}, sequence = ${sequence}`),
  };
}

function peopleReads(ask: Ask) {
  return {
    study: async (): Promise<StudyRow> =>
      theOne(await ask(studyRow, sql`SELECT id, epoch, sequence FROM study`)),
    members: (): Promise<MemberRow[]> =>
      ask(memberRow, sql`SELECT id, role, number FROM members ORDER BY role, number`),
    unheardMembers: async (): Promise<ReadonlySet<string>> =>
      new Set(
        (
          await ask(
            z.object({ id: text }),
            sql`SELECT id FROM members WHERE unheard = 1 AND id NOT IN (SELECT member FROM removed_members)`,
          )
        ).map(({ id }) => id),
      ),
    member: async (id: string): Promise<MemberRow | null> =>
      firstOf(await ask(memberRow, sql`SELECT id, role, number FROM members WHERE id = ${id}`)),
    deviceByToken: async (digest: string): Promise<DeviceRow | null> =>
      firstOf(
        await ask(
          deviceRow,
          sql`${DEVICE} WHERE d.token_digest = ${digest} OR d.next_token_digest = ${digest}`,
        ),
      ),
    device: async (id: string): Promise<DeviceRow | null> =>
      firstOf(await ask(deviceRow, sql`${DEVICE} WHERE d.id = ${id}`)),
    devices: (member: string | null): Promise<DeviceRow[]> =>
      ask(
        deviceRow,
        sql`${DEVICE} ${member === null ? sql`` : sql`WHERE d.member = ${member}`} ORDER BY m.role, m.number, d.id`,
      ),
    code: async (digest: string): Promise<CodeRow | null> =>
      firstOf(
        await ask(codeRow, sql`SELECT digest, member, expires, used FROM codes WHERE digest = ${digest}`),
      ),
    definition: async (): Promise<DefinitionRow | null> =>
      firstOf(
        await ask(definitionRow, sql`SELECT version, body FROM definitions ORDER BY version DESC LIMIT 1`),
      ),
    definitions: (): Promise<DefinitionRow[]> =>
      ask(definitionRow, sql`SELECT version, body FROM definitions ORDER BY version`),
    sheets: (): Promise<SheetRow[]> =>
      ask(sheetRow, sql`SELECT member, definition, sequence, body FROM sheets ORDER BY member`),
    audit: (limit: number): Promise<AuditEntry[]> =>
      ask(
        auditRow,
        sql`SELECT at, member, device, action, subject, times AS count FROM audit
          ORDER BY at DESC, member, device, action, subject LIMIT ${limit}`,
      ),
  };
}

function recordReads(ask: Ask) {
  return {
    batch: async (member: string, batch: string): Promise<BatchRow | null> =>
      firstOf(
        await ask(
          batchRow,
          sql`SELECT member, batch, digest, sequence FROM batches WHERE member = ${member} AND batch = ${batch}`,
        ),
      ),
    versionsOf: async (member: string, pseudonyms: readonly string[]): Promise<VersionFacts[]> =>
      pseudonyms.length === 0
        ? []
        : ask(
            factsRow,
            sql`SELECT pseudonym, version, based_on AS "basedOn", sequence, batch,
              CASE WHEN body IS NULL THEN 0 ELSE 1 END AS head
              FROM versions WHERE member = ${member} AND pseudonym IN ${[...pseudonyms]} ORDER BY sequence`,
          ),
    patientsOf: (member: string): Promise<PatientRow[]> =>
      ask(
        patientRow,
        sql`SELECT pseudonym, count(*) AS versions, min(sequence) AS "firstSequence" FROM versions
          WHERE member = ${member} GROUP BY pseudonym ORDER BY pseudonym`,
      ),
    headsOf: async (member: string, pseudonyms: readonly string[]): Promise<HeadRow[]> =>
      pseudonyms.length === 0
        ? []
        : ask(
            headRow,
            sql`${HEAD} WHERE member = ${member} AND pseudonym IN ${[...pseudonyms]} AND body IS NOT NULL`,
          ),
    tombstonesOf: async (member: string, digests: readonly string[]): Promise<TombstoneRow[]> =>
      digests.length === 0
        ? []
        : ask(tombstoneRow, sql`${TOMBSTONE} WHERE member = ${member} AND digest IN ${[...digests]}`),
    headsAfter: (member: string | null, after: number, limit: number): Promise<HeadRow[]> =>
      ask(
        headRow,
        sql`${HEAD} WHERE body IS NOT NULL AND ${changesAfter(member, after)} ORDER BY sequence LIMIT ${limit}`,
      ),
    tombstonesAfter: (member: string | null, after: number, limit: number): Promise<TombstoneRow[]> =>
      ask(
        tombstoneRow,
        sql`${TOMBSTONE} WHERE ${changesAfter(member, after)} ORDER BY sequence LIMIT ${limit}`,
      ),
    patientsWithoutHead: async (): Promise<number> =>
      theOne(
        await ask(
          numberRow,
          sql`SELECT count(*) AS number FROM
            (SELECT 1 AS one FROM versions GROUP BY member, pseudonym HAVING count(body) = 0) headless`,
        ),
      ).number,
    dump: async (table: StoredTable, from: number, limit: number): Promise<StoredRow[]> => {
      const { columns, order } = STORED_TABLES[table];
      const rows = await ask(
        storedRow,
        sql`SELECT ${named(columns)} FROM ${sql.identifier(table)} ORDER BY ${named(order)}
          LIMIT ${limit} OFFSET ${from}`,
      );
      return rows.map((row) => columns.map((column) => row[column] ?? null));
    },
  };
}

function changesAfter(member: string | null, after: number): SQL {
  return member === null ? sql`sequence > ${after}` : sql`member = ${member} AND sequence > ${after}`;
}

function peopleWrites(ask: Ask, run: Run) {
  return {
    insertMember: ({ id, role, number }: MemberRow) =>
      run(sql`INSERT INTO members (id, role, number) VALUES (${id}, ${role}, ${number})`),
    markUnheard: () => run(sql`UPDATE members SET unheard = 1 WHERE role = 'centre'`),
    markHeard: (member: string) =>
      run(sql`UPDATE members SET unheard = 0 WHERE id = ${member} AND unheard = 1`),
    insertDevice: (device: Omit<DeviceRow, 'role' | 'number'>) =>
      run(sql`INSERT INTO devices (id, member, token_digest, next_token_digest, revoked)
        VALUES (${device.id}, ${device.member}, ${device.tokenDigest}, ${device.nextTokenDigest},
          ${device.revoked ? 1 : 0})`),
    setTokens: (device: string, tokenDigest: string, nextTokenDigest: string | null) =>
      run(sql`UPDATE devices SET token_digest = ${tokenDigest}, next_token_digest = ${nextTokenDigest}
        WHERE id = ${device}`),
    revokeDevices: async (devices: readonly string[]): Promise<number> =>
      devices.length === 0
        ? 0
        : (
            await ask(
              z.object({ id: text }),
              sql`UPDATE devices SET revoked = 1 WHERE revoked = 0 AND id IN ${[...devices]} RETURNING id`,
            )
          ).length,
    insertCode: ({ digest, member, expires, used }: CodeRow) =>
      run(sql`INSERT INTO codes (digest, member, expires, used)
        VALUES (${digest}, ${member}, ${expires}, ${used ? 1 : 0})`),
    useCode: async (digest: string): Promise<boolean> =>
      (
        await ask(
          z.object({ digest: text }),
          sql`UPDATE codes SET used = 1 WHERE digest = ${digest} AND used = 0 RETURNING digest`,
        )
      ).length === 1,
    useCodesOf: (member: string) => run(sql`UPDATE codes SET used = 1 WHERE member = ${member}`),
    insertDefinition: async ({ version, body }: DefinitionRow): Promise<boolean> =>
      (
        await ask(
          z.object({ version: count }),
          sql`INSERT INTO definitions (version, body) VALUES (${version}, ${body})
            ON CONFLICT (version) DO NOTHING RETURNING version`,
        )
      ).length === 1,
    putSheet: ({ member, definition, sequence, body }: SheetRow) =>
      run(sql`INSERT INTO sheets (member, definition, sequence, body)
        VALUES (${member}, ${definition}, ${sequence}, ${body})
        ON CONFLICT (member) DO UPDATE SET definition = excluded.definition, sequence = excluded.sequence,
          body = excluded.body`),
    addAudit: ({ at, member, device, action, subject, count: times }: AuditEntry) =>
      run(sql`INSERT INTO audit (at, member, device, action, subject, times)
        VALUES (${at}, ${member ?? ''}, ${device ?? ''}, ${action}, ${subject}, ${times})
        ON CONFLICT (at, member, device, action, subject) DO UPDATE SET times = audit.times + excluded.times`),
  };
}

function recordWrites(ask: Ask, run: Run, insert: Insert) {
  const insertTombstones = (rows: readonly TombstoneRow[]): Promise<void> =>
    loadRows(
      insert,
      'tombstones',
      rows.map((row) => [
        row.member,
        row.digest,
        row.sequence,
        row.receipt,
        row.versionsRemoved,
        row.month,
        row.firstSequence,
      ]),
    );
  return {
    takeSequences: async (wanted: number): Promise<number> => {
      const { number } = theOne(
        await ask(
          numberRow,
          sql`UPDATE study SET sequence = sequence + ${wanted} RETURNING sequence AS number`,
        ),
      );
      return number - wanted + 1;
    },
    insertBatch: ({ member, batch, digest, sequence }: BatchRow) =>
      run(sql`INSERT INTO batches (member, batch, digest, sequence)
        VALUES (${member}, ${batch}, ${digest}, ${sequence})`),
    insertVersions: (versions: readonly VersionRow[]) =>
      loadRows(
        insert,
        'versions',
        versions.map((row) => [
          row.member,
          row.version,
          row.pseudonym,
          row.basedOn,
          row.sequence,
          row.batch,
          row.definition,
          row.body,
        ]),
      ),
    clearBodies: async (member: string, versions: readonly string[]): Promise<void> => {
      if (versions.length === 0) return;
      await run(
        sql`UPDATE versions SET body = NULL WHERE member = ${member} AND version IN ${[...versions]}`,
      );
    },
    deleteVersions: (member: string, pseudonym: string) =>
      run(sql`DELETE FROM versions WHERE member = ${member} AND pseudonym = ${pseudonym}`),
    insertTombstone: (row: TombstoneRow) => insertTombstones([row]),
    insertTombstones,
    deleteRecordsOf: async (member: string): Promise<void> => {
      await run(sql`DELETE FROM versions WHERE member = ${member}`);
      await run(sql`DELETE FROM batches WHERE member = ${member}`);
      await run(sql`DELETE FROM sheets WHERE member = ${member}`);
    },
  };
}

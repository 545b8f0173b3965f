import { sql, type SQL } from 'drizzle-orm';
import { setAsideReasonSchema } from '@longhold/core/exchange';
import { z } from 'zod';
import type {
  CentreRow,
  ChangesSince,
  FederatedRow,
  PoolReader,
  PoolWriter,
  RecordCount,
  ReleaseCentreRow,
  ReleaseRow,
  ReleaseViewRow,
  RemovedMemberRow,
  SetAsideRow,
  StatisticsRow,
} from './pool-rows';
import { count, firstOf, flag, loadRows, type Ask, type Insert, type Run } from './sql-rows';

const text = z.string();
const countsRow = z.object({ member: text, number: count });
const latestRow = z.object({
  member: text,
  records: count.nullable(),
  tombstones: count.nullable(),
  sheet: count.nullable(),
});
const recordsRow = z.object({ definition: count, patients: count });
const sheetRow = z.object({ member: text, definition: count });
const federatedStateRow = z.object({
  member: text,
  definition: count,
  sequence: count,
  patients: count,
  changedAtLeast: count,
});
const federatedRow = federatedStateRow.extend({
  digest: text.nullable(),
  withdrawn: count,
  receipt: text.nullable(),
  month: text.nullable(),
  body: text.nullable(),
});
const statisticsRow = z.object({ member: text, madeFrom: text, body: text.nullable(), estimates: text });
const setAsideRow = z.object({ member: text, madeFrom: text, reason: setAsideReasonSchema });
const removedRow = z
  .object({ member: text, receipt: text, month: text, held: z.enum(['records', 'statistics', '']) })
  .transform(({ held, ...row }): RemovedMemberRow => ({ ...row, held: held === '' ? null : held }));
const releaseRow = z.object({ number: count, sequence: count, definition: count, toCoordinator: flag });
const releaseCentreRow = z.object({
  member: text,
  way: z.enum(['records', 'statistics']),
  sequence: count,
  patients: count,
  changedAtLeast: count,
});

const REMOVED = sql.raw('SELECT member, receipt, month, held FROM removed_members');

/** Reads for pooled answers, in SQL that SQLite and PostgreSQL both understand. */
export function poolReads(ask: Ask): PoolReader {
  const byMember = async (statement: SQL): Promise<Map<string, number>> =>
    new Map((await ask(countsRow, statement)).map(({ member, number }) => [member, number]));
  return {
    centres: () => readCentres(ask),
    recordCounts: (member): Promise<RecordCount[]> =>
      ask(
        recordsRow,
        sql`SELECT definition, count(*) AS patients FROM versions WHERE member = ${member} AND body IS NOT NULL
          GROUP BY definition ORDER BY definition`,
      ),
    sheetOf: async (member) =>
      firstOf(
        await ask(
          z.object({ definition: count, body: text }),
          sql`SELECT definition, body FROM sheets WHERE member = ${member}`,
        ),
      ),
    federatedOf: async (member): Promise<FederatedRow | null> =>
      firstOf(
        await ask(
          federatedRow,
          sql`SELECT member, definition, sequence, digest, patients, changed_at_least AS "changedAtLeast",
            withdrawn, receipt, month, body FROM federated WHERE member = ${member}`,
        ),
      ),
    statisticsOf: async (member): Promise<StatisticsRow | null> =>
      firstOf(
        await ask(
          statisticsRow,
          sql`SELECT member, made_from AS "madeFrom", body, estimates FROM centre_statistics
            WHERE member = ${member}`,
        ),
      ),
    statisticsKept: async () => {
      const rows = await ask(
        z.object({ member: text, madeFrom: text }),
        sql`SELECT member, made_from AS "madeFrom" FROM centre_statistics`,
      );
      return new Map(rows.map(({ member, madeFrom }) => [member, madeFrom]));
    },
    setAside: (): Promise<SetAsideRow[]> =>
      ask(setAsideRow, sql`SELECT member, made_from AS "madeFrom", reason FROM set_aside ORDER BY member`),
    removedMember: async (member): Promise<RemovedMemberRow | null> =>
      firstOf(await ask(removedRow, sql`${REMOVED} WHERE member = ${member}`)),
    removedMembers: (): Promise<RemovedMemberRow[]> => ask(removedRow, sql`${REMOVED} ORDER BY member`),
    releases: (): Promise<ReleaseRow[]> =>
      ask(
        releaseRow,
        sql`SELECT number, sequence, definition, to_coordinator AS "toCoordinator" FROM releases
          ORDER BY number DESC`,
      ),
    releaseCentres: (release): Promise<ReleaseCentreRow[]> =>
      ask(
        releaseCentreRow,
        sql`SELECT member, way, sequence, patients, changed_at_least AS "changedAtLeast" FROM release_centres
          WHERE release = ${release} ORDER BY member`,
      ),
    releaseView: async (release, viewer) =>
      firstOf(
        await ask(
          z.object({ body: text }),
          sql`SELECT body FROM release_views WHERE release = ${release} AND viewer = ${viewer}`,
        ),
      )?.body ?? null,
    isShown: async (release) =>
      (
        await ask(
          z.object({ viewer: text }),
          sql`SELECT viewer FROM release_views WHERE release = ${release} LIMIT 1`,
        )
      ).length > 0,
    changesSince: async (release, counted): Promise<ChangesSince> => ({
      changed: await byMember(counted === 'changed' ? changedSince(release) : joinedSince(release)),
      withdrawn: await byMember(sql`SELECT r.member, count(*) AS number FROM release_centres r
        JOIN tombstones t ON t.member = r.member AND t.sequence > r.sequence AND t.first_sequence <= r.sequence
        WHERE r.release = ${release} GROUP BY r.member`),
    }),
    viewsOfWithdrawn: async () =>
      (
        await ask(
          z.object({ number: count }),
          sql`SELECT count(*) AS number FROM release_views v
            JOIN release_centres r ON r.release = v.release
            JOIN tombstones t ON t.member = r.member AND t.first_sequence <= r.sequence AND t.sequence > r.sequence`,
        )
      )[0]?.number ?? 0,
  };
}

function changedSince(release: number): SQL {
  return sql`SELECT r.member, count(*) AS number FROM release_centres r
    JOIN versions v ON v.member = r.member AND v.body IS NOT NULL AND v.sequence > r.sequence
    WHERE r.release = ${release} GROUP BY r.member`;
}

function joinedSince(release: number): SQL {
  return sql`SELECT r.member, count(*) AS number FROM release_centres r
    JOIN (SELECT member, pseudonym, min(sequence) AS first FROM versions GROUP BY member, pseudonym) p
      ON p.member = r.member AND p.first > r.sequence
    WHERE r.release = ${release} GROUP BY r.member`;
}

async function readCentres(ask: Ask): Promise<CentreRow[]> {
  const latest = await ask(
    latestRow,
    sql`SELECT m.id AS member,
      (SELECT max(v.sequence) FROM versions v WHERE v.member = m.id AND v.body IS NOT NULL) AS records,
      (SELECT max(t.sequence) FROM tombstones t WHERE t.member = m.id) AS tombstones,
      (SELECT s.sequence FROM sheets s WHERE s.member = m.id) AS sheet
      FROM members m WHERE m.role = 'centre' ORDER BY m.id`,
  );
  const sheets = await ask(sheetRow, sql`SELECT member, definition FROM sheets`);
  const federated = await ask(
    federatedStateRow,
    sql`SELECT member, definition, sequence, patients, changed_at_least AS "changedAtLeast" FROM federated
      WHERE body IS NOT NULL`,
  );
  return latest.map(({ member, records: ofRecords, tombstones, sheet }) => ({
    member,
    sequence: Math.max(ofRecords ?? 0, tombstones ?? 0, sheet ?? 0),
    sheetDefinition: sheets.find((row) => row.member === member)?.definition ?? null,
    federated: federated.find((row) => row.member === member) ?? null,
  }));
}

/** Changes for pooled answers. */
export function poolWrites(run: Run, insert: Insert): Omit<PoolWriter, keyof PoolReader> {
  return {
    putFederated: (row) =>
      run(sql`INSERT INTO federated
        (member, definition, sequence, digest, patients, changed_at_least, withdrawn, receipt, month, body)
        VALUES (${row.member}, ${row.definition}, ${row.sequence}, ${row.digest}, ${row.patients}, ${row.changedAtLeast},
          ${row.withdrawn}, ${row.receipt}, ${row.month}, ${row.body})
        ON CONFLICT (member) DO UPDATE SET definition = excluded.definition, sequence = excluded.sequence,
          digest = excluded.digest, patients = excluded.patients, changed_at_least = excluded.changed_at_least,
          withdrawn = excluded.withdrawn, receipt = excluded.receipt, month = excluded.month,
          body = excluded.body`),
    putStatistics: ({ member, madeFrom, body, estimates }) =>
      run(sql`INSERT INTO centre_statistics (member, made_from, body, estimates)
        VALUES (${member}, ${madeFrom}, ${body}, ${estimates})
        ON CONFLICT (member) DO UPDATE SET made_from = excluded.made_from, body = excluded.body,
          estimates = excluded.estimates`),
    dropStatistics: async (member) => {
      await run(sql`DELETE FROM centre_statistics WHERE member = ${member}`);
      await run(sql`DELETE FROM set_aside WHERE member = ${member}`);
    },
    putSetAside: ({ member, madeFrom, reason }) =>
      run(sql`INSERT INTO set_aside (member, made_from, reason) VALUES (${member}, ${madeFrom}, ${reason})
        ON CONFLICT (member) DO UPDATE SET made_from = excluded.made_from, reason = excluded.reason`),
    insertRemovedMember: ({ member, receipt, month, held }) =>
      run(sql`INSERT INTO removed_members (member, receipt, month, held)
        VALUES (${member}, ${receipt}, ${month}, ${held ?? ''})`),
    insertRelease: async (
      { number, sequence, definition, toCoordinator }: ReleaseRow,
      centres: readonly ReleaseCentreRow[],
      views: readonly ReleaseViewRow[],
    ) => {
      await loadRows(insert, 'releases', [[number, sequence, definition, toCoordinator ? 1 : 0]]);
      await loadRows(
        insert,
        'release_centres',
        centres.map((own) => [number, own.member, own.way, own.sequence, own.patients, own.changedAtLeast]),
      );
      await loadRows(
        insert,
        'release_views',
        views.map(({ viewer, body }) => [number, viewer, body]),
      );
    },
    dropViewsHolding: (member, sequence) =>
      run(sql`DELETE FROM release_views WHERE release IN
        (SELECT release FROM release_centres WHERE member = ${member} AND sequence >= ${sequence})`),
    dropViewsExcept: (releases) =>
      run(
        releases.length === 0
          ? sql`DELETE FROM release_views`
          : sql`DELETE FROM release_views WHERE release NOT IN ${[...releases]}`,
      ),
  };
}

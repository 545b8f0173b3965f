import { getTableColumns } from 'drizzle-orm';
import { getTableConfig } from 'drizzle-orm/sqlite-core';
import { cpSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { connect } from './database';
import { applyMissing, faultsOfMigrations, loadMigrations } from './migrations';
import { TABLES } from './schema';
import { MIGRATIONS_FOLDER, temporaryFolder } from './store.fixture';

const folder = temporaryFolder(afterAll);

describe('The migrations', () => {
  it('are numbered without gaps, each later than the one before, each file in the journal', () => {
    expect(faultsOfMigrations(MIGRATIONS_FOLDER)).toEqual([]);
  });

  it('make exactly the tables and columns that the program reads and writes', async () => {
    const database = connect(join(folder, 'empty.longhold'), 'k'.repeat(32), 0);
    await database.write((transaction) =>
      applyMissing(transaction, loadMigrations(MIGRATIONS_FOLDER), database.path),
    );
    const tables = await database.direct(
      "SELECT group_concat(name, ' ') AS names FROM (SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE '\\_\\_%' ESCAPE '\\' ORDER BY name)",
    );
    expect(tables?.['names']).toBe(Object.keys(TABLES).sort().join(' '));
    for (const [name, table] of Object.entries(TABLES)) {
      const found = await database.direct(
        "SELECT group_concat(name || ' ' || lower(type) || ' ' || \"notnull\", ', ') AS columns FROM pragma_table_info(?)",
        [name],
      );
      const expected = Object.values(getTableColumns(table)).map(
        (column) => `${column.name} ${column.getSQLType()} ${column.notNull ? 1 : 0}`,
      );
      expect(found?.['columns'], name).toBe(expected.join(', '));
      const keys = await database.direct(
        "SELECT group_concat(name, ', ') AS columns FROM (SELECT name FROM pragma_table_info(?) WHERE pk > 0 ORDER BY pk)",
        [name],
      );
      expect(keys?.['columns'], name).toBe(primaryKeyOf(table).join(', '));
      const references = await database.direct(
        'SELECT group_concat("from" || \' \' || "table" || \' \' || "to", \', \') AS list FROM pragma_foreign_key_list(?)',
        [name],
      );
      expect(references?.['list'] ?? '', name).toBe(referencesOf(table).join(', '));
    }
    database.disconnect();
  });

  it('are refused as a whole when one is missing, unlisted or out of order', () => {
    const faulty = join(folder, 'faulty');
    cpSync(MIGRATIONS_FOLDER, faulty, { recursive: true });
    writeFileSync(join(faulty, '0007_forgotten.sql'), 'SELECT 1;');
    const journalFile = join(faulty, 'meta', '_journal.json');
    const journal = JSON.parse(readFileSync(journalFile, 'utf8')) as { entries: { when: number }[] };
    const first = journal.entries[0]?.when ?? 0;
    journal.entries.push(
      Object.assign({ idx: 6, version: '6', when: first, tag: '0005_gone', breakpoints: true }),
    );
    writeFileSync(journalFile, JSON.stringify(journal));
    const faults = faultsOfMigrations(faulty).join('; ');
    expect(faults).toContain('is numbered 6');
    expect(faults).toContain('0005_gone is not later than');
    expect(faults).toContain('0007_forgotten.sql is not in the journal');
    expect(faults).toContain('0005_gone.sql is in the journal only');
    expect(() => loadMigrations(faulty)).toThrow('faulty');
  });
});

type Table = (typeof TABLES)[keyof typeof TABLES];

function primaryKeyOf(table: Table): string[] {
  const { columns, primaryKeys } = getTableConfig(table);
  const single = columns.filter((column) => column.primary).map((column) => column.name);
  return [...single, ...primaryKeys.flatMap((key) => key.columns.map((column) => column.name))];
}

function referencesOf(table: Table): string[] {
  return getTableConfig(table).foreignKeys.map((key) => {
    const { columns, foreignTable, foreignColumns } = key.reference();
    return `${columns[0]?.name} ${getTableConfig(foreignTable).name} ${foreignColumns[0]?.name}`;
  });
}

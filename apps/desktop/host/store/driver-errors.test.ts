import { LibsqlError } from '@libsql/client';
import { DrizzleQueryError } from 'drizzle-orm';
import { inspect } from 'node:util';
import { describe, expect, it } from 'vitest';
import { toStoreError } from './driver-errors';
import { StoreError } from './errors';

const SECRET = '2009-09-09';
const PATH = '/somewhere/clinic.longhold';

function fromDriver(code: string): unknown {
  const driver = new LibsqlError(`failed at ${SECRET}`, code.split('_').slice(0, 2).join('_'), code);
  return new DrizzleQueryError('insert into patients values (?)', [SECRET], driver);
}

describe('An error of the driver', () => {
  it.each([
    ['SQLITE_NOTADB', 'store-damaged'],
    ['SQLITE_CORRUPT', 'store-damaged'],
    ['SQLITE_CORRUPT_INDEX', 'store-damaged'],
    ['SQLITE_ERROR', 'store-damaged'],
    ['SQLITE_BUSY', 'store-busy'],
    ['SQLITE_BUSY_SNAPSHOT', 'store-busy'],
    ['SQLITE_FULL', 'disk-full'],
    ['SQLITE_IOERR_WRITE', 'disk-full'],
    ['SQLITE_READONLY', 'not-writable'],
    ['SQLITE_CANTOPEN', 'not-writable'],
    ['SQLITE_IOERR_READ', 'io'],
    ['SQLITE_CONSTRAINT_FOREIGNKEY', 'io'],
  ])('%s is told as %s, and neither statement nor values get out', (driverCode, code) => {
    const error = toStoreError(fromDriver(driverCode), PATH);
    expect(error).toMatchObject({ code, path: PATH });
    expect(inspect(error, { depth: 10 })).not.toMatch(/2009-09-09|insert into/);
  });

  it('of the file system is told by what it means', () => {
    const full = Object.assign(new Error('write'), { code: 'ENOSPC' });
    expect(toStoreError(full, PATH)).toMatchObject({ code: 'disk-full' });
    const forbidden = Object.assign(new Error('open'), { code: 'EACCES' });
    expect(toStoreError(forbidden, PATH)).toMatchObject({ code: 'not-writable' });
  });
});

it('A StoreError and a slip of the programmer pass as they are', () => {
  const known = new StoreError('store-busy', PATH);
  expect(toStoreError(known, PATH)).toBe(known);
  const slip = new TypeError('x is not a function');
  expect(toStoreError(slip, PATH)).toBe(slip);
});

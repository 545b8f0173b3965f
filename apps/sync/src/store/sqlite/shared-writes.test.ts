import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { openTestStore, quickDisk, temporaryFolder } from '../../service.fixture';
import { StoreError } from '../store-error';
import { SharedWrites } from './shared-writes';

const folder = temporaryFolder(afterAll, quickDisk());
const openEmpty = () => openTestStore({ kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) });

describe('Changes of a SQLite store that wait at the same time', () => {
  it('are made in the order in which they were asked for, each on top of those before it', async () => {
    const store = await openEmpty();
    const firsts = await Promise.all(
      Array.from({ length: 40 }, (_unused, n) => store.write((writer) => writer.takeSequences(n))),
    );
    expect(firsts).toEqual(Array.from({ length: 40 }, (_unused, n) => 1 + (n * (n - 1)) / 2));
    await store.close();
  });

  it('end for themselves: one that is refused, or that the database refuses, leaves no trace and the others stay', async () => {
    const store = await openEmpty();
    let number = 0;
    const change = (id: string, fault: 'none' | 'refused' | 'by-database') =>
      store.write(async (writer) => {
        await writer.insertMember({ id, role: 'centre', number: ++number });
        if (fault === 'refused') throw new Error('refused on purpose');
        if (fault === 'by-database') await writer.insertMember({ id, role: 'centre', number: ++number });
        return id;
      });
    const faults = ['none', 'refused', 'none', 'by-database', 'none', 'refused'] as const;
    for (const some of [faults, faults.filter((fault) => fault !== 'by-database')]) {
      const ids = some.map(() => randomUUID());
      const ends = await Promise.allSettled(some.map((fault, n) => change(ids[n] ?? '', fault)));
      for (const [n, fault] of some.entries()) {
        const id = ids[n] ?? '';
        const isThere = (await store.read((reader) => reader.member(id))) !== null;
        expect(isThere).toBe(fault === 'none');
        if (fault === 'none') expect(ends[n]).toEqual({ status: 'fulfilled', value: id });
        if (fault === 'refused') {
          expect(ends[n]).toMatchObject({ status: 'rejected', reason: { message: 'refused on purpose' } });
        }
        if (fault === 'by-database') expect(ends[n]).toMatchObject({ reason: expect.any(StoreError) });
      }
    }
    await store.close();
  });

  it('share a transaction, and no promise ends before it is stored', async () => {
    const seen: string[] = [];
    const writes = new SharedWrites(async (work) => {
      seen.push('begin');
      await work({ rows: async () => [], insert: async () => undefined, holdMember: async () => undefined });
      seen.push('stored');
    });
    const named = (name: string) =>
      writes.add(async () => void seen.push(name)).then(() => seen.push(`end ${name}`));
    const ends = [named('a'), named('b')];
    await writes.storeWaiting();
    await writes.storeWaiting();
    await Promise.all(ends);
    expect(seen).toEqual(['begin', 'a', 'b', 'stored', 'end a', 'end b']);
  });

  it('fail together where their transaction cannot be stored, and only after each was tried alone', async () => {
    let transactions = 0;
    const writes = new SharedWrites(async () => {
      transactions++;
      throw new StoreError('disk-full');
    });
    const ends = Promise.allSettled([writes.add(async () => 1), writes.add(async () => 2)]);
    await writes.storeWaiting();
    expect((await ends).map(({ status }) => status)).toEqual(['rejected', 'rejected']);
    expect(transactions).toBe(3);
  });
});

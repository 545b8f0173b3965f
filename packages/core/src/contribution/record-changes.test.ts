import { createHash } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { canonicalRecord } from './canonical-record';
import { heldAs, pseudonymOf, recordWith } from './contribution.fixture';
import type { NotContributedReason } from './deidentify';
import { pooledRecordSchema, type PooledRecord } from './pooled-record';
import { recordChanges, type HeldVersion, type RecordChanges, type RecordComparison } from './record-changes';

function digestOf(text: string): string {
  return createHash('sha256').update(text, 'utf8').digest('hex');
}

const RECORD = recordWith({
  visits: [
    {
      kind: 'start',
      day: -301,
      values: [
        { measure: 'SNB', value: 76.5, films: 1, readings: 2, magnification: 'not-enlarged' },
        { measure: 'Co-Gn', value: 0.1 + 0.2, films: 1, readings: 1, magnification: 'natural' },
      ],
    },
    { kind: 'follow_up', day: 364, values: [] },
  ],
  events: [
    { event: 'moved', day: 400 },
    { event: 'declined', day: 400 },
  ],
});

describe('the canonical text of a record', () => {
  it('is this, byte for byte, so that another program can make the same digest', () => {
    const text = canonicalRecord({ ...RECORD, pseudonym: '0123456789abcdef0123456789abcdef' });
    expect(text).toBe(
      '{"pseudonym":"0123456789abcdef0123456789abcdef","group":"treated","sex":"male","ageMonths":160,' +
        '"protocol":"PLATE","expansion":true,"maturityStart":"CS3","yearsPassed":2,"visits":[{"kind":"start",' +
        '"day":-301,"values":[{"measure":"Co-Gn","value":0.30000000000000004,"films":1,"readings":1,' +
        '"magnification":"natural"},{"measure":"SNB","value":76.5,"films":1,"readings":2,' +
        '"magnification":"not-enlarged"}]},{"kind":"follow_up","day":364,"values":[]}],' +
        '"events":[{"event":"declined","day":400},{"event":"moved","day":400}]}',
    );
    // sha256sum of that text.
    expect(digestOf(text)).toBe('31509dc899e06fa5de71568949ae50474f99d212737eff878066b60b72d6771f');
  });

  it('has every key of the schema, in its order', () => {
    const keys = Object.keys(pooledRecordSchema.shape);
    const text = canonicalRecord(RECORD);
    const places = keys.map((key) => text.indexOf(`"${key}":`));
    expect(places).toEqual([...places].sort((a, b) => a - b));
    expect(Math.min(...places)).toBeGreaterThan(0);
    expect(canonicalRecord(pooledRecordSchema.parse(JSON.parse(text)))).toBe(text);
  });

  it('is one for the same record in any order of keys, visits, values and events', () => {
    const reversed = <Item>(items: readonly Item[]): Item[] => [...items].reverse();
    const other: PooledRecord = {
      events: reversed(RECORD.events),
      visits: reversed(RECORD.visits).map((visit) => ({
        values: reversed(visit.values),
        day: visit.day,
        kind: visit.kind,
      })),
      yearsPassed: RECORD.yearsPassed,
      maturityStart: RECORD.maturityStart,
      expansion: RECORD.expansion,
      protocol: RECORD.protocol,
      ageMonths: RECORD.ageMonths,
      sex: RECORD.sex,
      group: RECORD.group,
      pseudonym: RECORD.pseudonym,
    };
    expect(canonicalRecord(other)).toBe(canonicalRecord(RECORD));
  });

  it('reads back to the very numbers', () => {
    fc.assert(
      fc.property(fc.double({ min: -1000, max: 1000, noNaN: true }), (value) => {
        const record = recordWith({
          visits: [
            {
              kind: 'start',
              day: 0,
              values: [{ measure: 'SNB', value, films: 1, readings: 1, magnification: 'not-enlarged' }],
            },
          ],
        });
        const back = pooledRecordSchema.parse(JSON.parse(canonicalRecord(record)));
        expect(back.visits[0]?.values[0]?.value === value).toBe(true);
      }),
    );
  });
});

describe('what there is to send', () => {
  const named = (name: string, parts: Partial<PooledRecord> = {}): PooledRecord =>
    recordWith({ pseudonym: pseudonymOf(name), ...parts });
  const leftOut = (name: string, reason: NotContributedReason) => {
    return { code: name, pseudonym: pseudonymOf(name), group: 'treated' as const, reason };
  };
  const versionOf = (basedOn: string | null, record: PooledRecord): string =>
    digestOf(`${basedOn} ${canonicalRecord(record)}`);
  const changesOf = (
    records: readonly PooledRecord[],
    held: readonly HeldVersion[],
    parts: Partial<RecordComparison> = {},
  ): RecordChanges =>
    recordChanges({ records, leftOut: [] }, held, {
      definition: 1,
      digestOf,
      versionOf,
      underDefinition: () => null,
      isAlike: () => false,
      ...parts,
    });
  const nothing = { fresh: [], changed: [], conflicts: [], withdrawn: [], heldBack: [], unchanged: [] };

  it('is nothing under a new definition that asks the same of clinics, and all records under one that asks otherwise', () => {
    const records = [named('a'), named('b')];
    const held = records.map((record) => heldAs(record));
    const alike = changesOf(records, held, { definition: 2, isAlike: (earlier) => earlier === 1 });
    expect(alike).toEqual({ ...nothing, unchanged: records.map(({ pseudonym }) => pseudonym) });
    const other = changesOf(records, held, { definition: 2, isAlike: () => false });
    expect(other.changed.map(({ record }) => record)).toEqual(records);
  });

  it('is every patient at first, and nothing once all is sent', () => {
    const records = [named('a'), named('b')];
    const first = changesOf(records, []);
    expect(first.fresh.map(({ record, basedOn }) => [record, basedOn])).toEqual(
      records.map((record) => [record, null]),
    );
    for (const { record, version } of first.fresh) expect(version).toBe(versionOf(null, record));
    const again = changesOf(
      records,
      records.map((record) => heldAs(record)),
    );
    expect(again).toEqual({ ...nothing, unchanged: records.map(({ pseudonym }) => pseudonym) });
  });

  it('is the new version of a changed record, with the version it follows', () => {
    const after = named('a', { yearsPassed: 3 });
    const { changed, fresh } = changesOf([after], [heldAs(named('a'))]);
    expect(fresh).toEqual([]);
    expect(changed).toEqual([
      { kind: 'record', basedOn: 'v1', version: versionOf('v1', after), record: after },
    ]);
  });

  it('is every record anew under another version of the study definition, also one that stays as it was', () => {
    const { changed, unchanged } = changesOf([named('a')], [heldAs(named('a'))], { definition: 2 });
    expect(changed.map(({ basedOn }) => basedOn)).toEqual(['v1']);
    expect(unchanged).toEqual([]);
  });

  it('is never a version in place of one that another desktop made, until a person has chosen', () => {
    const mine = named('a', { yearsPassed: 3 });
    const theirs = heldAs(named('a', { yearsPassed: 4 }), { own: false });
    const content = digestOf(canonicalRecord(mine));
    expect(changesOf([mine], [theirs])).toEqual({ ...nothing, conflicts: [{ mine, content, theirs }] });
    const kept = changesOf([mine], [{ ...theirs, keptAgainst: content }]);
    expect(kept).toEqual({ ...nothing, unchanged: [mine.pseudonym] });
    const takenOver = changesOf([mine], [{ ...theirs, own: true }]);
    expect(takenOver.changed.map(({ basedOn, record }) => [basedOn, record])).toEqual([['v1', mine]]);
    // What was chosen is chosen for what was shown: a later change here is asked about anew.
    const later = changesOf([named('a', { yearsPassed: 5 })], [{ ...theirs, keptAgainst: content }]);
    expect(later.conflicts).toHaveLength(1);
  });

  it('is no conflict where the other desktop sent the same, also under an earlier study definition', () => {
    const same = heldAs(named('a'), { own: false });
    expect(changesOf([named('a')], [same]).unchanged).toHaveLength(1);
    const now = named('a', { protocol: null });
    const then = (definition: number): PooledRecord | null => (definition === 1 ? named('a') : null);
    const renewed = changesOf([now], [same], { definition: 2, underDefinition: then });
    expect(renewed.changed).toHaveLength(1);
    const unknown = changesOf([now], [{ ...same, definition: 2 }], { definition: 3, underDefinition: then });
    expect(unknown.conflicts).toHaveLength(1);
    const differed = changesOf([now], [heldAs(named('a', { yearsPassed: 9 }), { own: false })], {
      definition: 2,
      underDefinition: then,
    });
    expect(differed.conflicts).toHaveLength(1);
  });

  it('is a withdrawal for consent taken back or a patient no longer there, and for no other reason', () => {
    const names = ['consent', 'follow-up', 'gone', 'corrected'];
    const { withdrawn, heldBack } = recordChanges(
      {
        records: [],
        leftOut: [
          leftOut('consent', 'no-pooling-consent'),
          leftOut('follow-up', 'no-follow-up-consent'),
          leftOut('corrected', 'no-start'),
          leftOut('never sent', 'no-pooling-consent'),
        ],
      },
      names.map((name) => heldAs(named(name))),
      { definition: 1, digestOf, versionOf, underDefinition: () => null, isAlike: () => false },
    );
    expect(withdrawn).toEqual([
      { pseudonym: pseudonymOf('consent'), reason: 'no-pooling-consent' },
      { pseudonym: pseudonymOf('follow-up'), reason: 'no-follow-up-consent' },
      { pseudonym: pseudonymOf('gone'), reason: 'not-in-store' },
    ]);
    expect(heldBack).toEqual([{ pseudonym: pseudonymOf('corrected'), reason: 'no-start' }]);
  });
});

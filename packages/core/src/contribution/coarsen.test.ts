import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { maturityStageSchema } from '../records';
import { coarsen, groupSizes, sharedValues, type CoarseningRules } from './coarsen';
import { coarseningSchema } from './study-definition';
import { pseudonymOf, recordWith } from './contribution.fixture';
import type { PooledRecord } from './pooled-record';

function rulesWith(parts: Partial<CoarseningRules> = {}): CoarseningRules {
  return coarseningSchema.parse({ smallestGroup: 3, dayStep: 1, ageStepMonths: 3, ...parts });
}

/** Records that differ in the given parts, one for each. */
function patients(...parts: readonly Partial<PooledRecord>[]): PooledRecord[] {
  return parts.map((part, i) => recordWith({ pseudonym: pseudonymOf(`patient ${i}`), ...part }));
}

function times(count: number, part: Partial<PooledRecord>): Partial<PooledRecord>[] {
  return Array.from({ length: count }, () => part);
}

const anyRecords = fc
  .array(
    fc.record({
      group: fc.constantFrom('treated', 'untreated'),
      sex: fc.constantFrom('female', 'male'),
      ageMonths: fc.integer({ min: 120, max: 200 }),
      protocol: fc.constantFrom('PLATE', 'FIXED', 'RARE', null),
      expansion: fc.constantFrom(true, false, null),
      maturityStart: fc.option(fc.constantFrom(...maturityStageSchema.options)),
    }),
    { maxLength: 80 },
  )
  .map((parts) => patients(...parts));

const anyRules = fc
  .record({
    smallestGroup: fc.integer({ min: 1, max: 12 }),
    ageStepMonths: fc.constantFrom(1, 2, 3, 6, 12, 24),
  })
  .map((parts) => rulesWith(parts));

/** Group, sex and widest age band: what coarsening never takes away. */
function widestBand({ group, sex, ageMonths }: PooledRecord, { ageStepMonths }: CoarseningRules): string {
  let step = ageStepMonths;
  while (2 * step <= 24) step *= 2;
  return `${group} ${sex} ${Math.floor(ageMonths / step)}`;
}

describe('coarsening', () => {
  it('leaves no group smaller than asked, but where too few share group, sex and the widest age band', () => {
    fc.assert(
      fc.property(anyRecords, anyRules, (records, rules) => {
        const bands = new Map<string, number>();
        for (const record of records) {
          const band = widestBand(record, rules);
          bands.set(band, (bands.get(band) ?? 0) + 1);
        }
        const { records: leaving } = coarsen(records, rules);
        const sizes = groupSizes(leaving);
        leaving.forEach((record, i) => {
          const size = sizes.get(sharedValues(record)) ?? 0;
          const original = records[i];
          if (original === undefined) throw new Error('a record came from nowhere');
          const most = bands.get(widestBand(original, rules)) ?? 0;
          expect(size).toBeGreaterThanOrEqual(Math.min(most, rules.smallestGroup));
        });
      }),
    );
  });

  it('says only what is true: a value is as recorded, its group, or nothing, and the age lies in its band', () => {
    fc.assert(
      fc.property(anyRecords, anyRules, (records, rules) => {
        const { records: leaving, coarsening } = coarsen(records, rules);
        leaving.forEach((record, i) => {
          const exact = records[i];
          const done = coarsening[i];
          expect(exact?.pseudonym).toBe(record.pseudonym);
          expect(done?.pseudonym).toBe(record.pseudonym);
          const width = done?.ageStepMonths ?? NaN;
          const low = record.ageMonths - Math.floor(width / 2);
          expect(exact?.ageMonths).toBeGreaterThanOrEqual(low);
          expect(exact?.ageMonths).toBeLessThan(low + width);
          expect([exact?.protocol, null]).toContain(record.protocol);
          expect([exact?.expansion, null]).toContain(record.expansion);
          expect(record.sex).toBe(exact?.sex);
          if (done?.maturity === 'as-recorded') expect(record.maturityStart).toBe(exact?.maturityStart);
          if (done?.maturity === 'group-only') expect(record.maturityStart).toMatch(/-peak$/);
          if (done?.maturity === 'removed') expect(record.maturityStart).toBeNull();
        });
      }),
    );
  });

  it('hangs on no order of the records', () => {
    const shuffled = anyRecords.chain((records) =>
      fc.tuple(
        fc.constant(records),
        fc.shuffledSubarray(records, { minLength: records.length, maxLength: records.length }),
      ),
    );
    const byName = (records: readonly PooledRecord[]): PooledRecord[] =>
      [...records].sort((a, b) => (a.pseudonym < b.pseudonym ? -1 : 1));
    fc.assert(
      fc.property(shuffled, anyRules, ([records, others], rules) => {
        expect(byName(coarsen(others, rules).records)).toEqual(byName(coarsen(records, rules).records));
      }),
    );
  });

  it('changes nothing but the age to its band where every combination is shared by enough', () => {
    const records = patients(
      ...times(3, { protocol: 'PLATE', ageMonths: 150 }),
      ...times(3, { protocol: 'FIXED', ageMonths: 150 }),
      ...times(4, { protocol: 'FIXED', ageMonths: 155, maturityStart: 'CS4' }),
    );
    const { records: leaving, coarsening } = coarsen(records, rulesWith());
    expect(leaving).toEqual(
      records.map((record) => ({ ...record, ageMonths: record.ageMonths === 150 ? 151 : 154 })),
    );
    expect(coarsening.map(({ groupSize }) => groupSize)).toEqual([3, 3, 3, 3, 3, 3, 4, 4, 4, 4]);
  });

  it('by hand: a rare protocol is not named, and takes the smallest other one with it only for want of company', () => {
    const rareAlone = coarsen(
      patients(...times(6, { protocol: 'PLATE' }), ...times(4, { protocol: 'FIXED' }), { protocol: 'RARE' }),
      rulesWith(),
    );
    expect(rareAlone.records.map(({ protocol }) => protocol)).toEqual([
      ...Array<string>(6).fill('PLATE'),
      ...Array<null>(5).fill(null),
    ]);
    const rareEnough = coarsen(
      patients(...times(4, { protocol: 'PLATE' }), ...times(2, { protocol: 'RARE' }), { protocol: 'OTHER' }),
      rulesWith(),
    );
    expect(rareEnough.records.map(({ protocol }) => protocol)).toEqual([
      ...Array<string>(4).fill('PLATE'),
      ...Array<null>(3).fill(null),
    ]);
  });

  it('by hand: age gives way first, then stage of maturity to its group', () => {
    // Ages 150 and 160 lie in one band of 24 months (144 to 168), in two of 12 (144 to 156, 156 to 168).
    const { records, coarsening } = coarsen(
      patients(
        { ageMonths: 150, maturityStart: 'CS3' },
        { ageMonths: 150, maturityStart: 'CS3' },
        { ageMonths: 160, maturityStart: 'CS4' },
      ),
      rulesWith(),
    );
    for (const record of records)
      expect(record).toMatchObject({ ageMonths: 156, maturityStart: 'around-peak', protocol: 'PLATE' });
    expect(coarsening[2]).toMatchObject({
      ageStepMonths: 24,
      maturity: 'group-only',
      expansion: 'as-recorded',
      protocol: 'as-recorded',
      groupSize: 3,
    });
  });

  it('never changes sex: a lone girl leaves and is counted, or stays at home where the study says so', () => {
    const records = patients({ sex: 'female' }, ...times(5, { sex: 'male' }));
    const kept = coarsen(records, rulesWith());
    expect(kept.records).toHaveLength(6);
    expect(kept.coarsening[0]).toMatchObject({ groupSize: 1, protocol: 'removed', maturity: 'removed' });
    const without = coarsen(records, rulesWith({ smallGroups: 'leave-out' }));
    expect(without.records.map(({ sex }) => sex)).toEqual(Array<string>(5).fill('male'));
    expect(without.tooFewAlike).toEqual([records[0]?.pseudonym]);
  });

  it('asked for the finest, leaves records as they are', () => {
    fc.assert(
      fc.property(anyRecords, (records) => {
        expect(coarsen(records, rulesWith({ smallestGroup: 1, ageStepMonths: 1 })).records).toEqual(records);
      }),
    );
  });
});

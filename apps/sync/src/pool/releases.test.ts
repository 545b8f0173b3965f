import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { createRandom } from '@longhold/core/numeric';
import { isSmall, type PooledView } from '@longhold/core/pooled';
import { afterAll, describe, expect, it } from 'vitest';
import { inventedRecord, temporaryFolder } from '../service.fixture';
import type { PoolComputer } from './computer';
import { TestPool, type TestCentre } from './pool.fixture';

const SMALLEST = 4;
const folder = temporaryFolder(afterAll);

/** Only when answers are released is asked here, so the answers themselves are empty. */
function empty(viewer: PooledView['viewer']): string {
  const view: PooledView = {
    definitionVersion: 1,
    level: 0.95,
    smallestCell: SMALLEST,
    countStep: 2,
    viewer,
    measures: [],
  };
  return JSON.stringify(view);
}
const idle: PoolComputer = {
  centre: async () => ({ statistics: '{}', estimates: '[]' }),
  estimates: async () => '[]',
  pool: async (centres) => {
    const own = [];
    for await (const { centre } of centres) {
      own.push({ centre, part: JSON.stringify({ centre, measures: [] }) });
    }
    return { coordinator: empty('coordinator'), centre: empty('centre'), reader: empty('reader'), own };
  },
  stop: async () => undefined,
};

/** What the service held of each centre: versions by pseudonym. */
type Holdings = readonly ReadonlyMap<string, string>[];

/** Patients of each centre who are in one of two holdings only, or in another version. */
function changedBetween(before: Holdings, after: Holdings): number[] {
  return before.map((former, c) => {
    const now = after[c] ?? new Map<string, string>();
    const all = new Set([...former.keys(), ...now.keys()]);
    return [...all].filter((pseudonym) => former.get(pseudonym) !== now.get(pseudonym)).length;
  });
}

describe('The pooled answers that members are shown one after the other', () => {
  it.each([2, 3])(
    'differ, any two of them, by nobody or by enough patients, for each centre without its own (series %i)',
    async (seed) => {
      const random = createRandom(seed);
      const place = { kind: 'sqlite', path: join(folder, `${randomUUID()}.sqlite`) } as const;
      const pool = await TestPool.start(place, { smallestCell: SMALLEST }, idle);
      const centres = [await pool.centre(), await pool.centre(), await pool.centre()];
      let drawn = 1000 * seed;
      const step = async (centre: TestCentre): Promise<void> => {
        const some = 1 + random.integer(6);
        const known = [...centre.heads.keys()];
        const chosen = Array.from({ length: some }, () => known[random.integer(Math.max(1, known.length))]);
        const there = [...new Set(chosen.flatMap((pseudonym) => pseudonym ?? []))];
        const what = random.integer(4);
        if (what === 0 && there.length > 0) await pool.withdraw(centre, there);
        else if (what === 1 && there.length > 0) {
          const ageMonths = 120 + random.integer(60);
          await pool.send(
            centre,
            there.map((pseudonym) => ({ ...inventedRecord(0, ageMonths), pseudonym })),
          );
        } else {
          await pool.send(
            centre,
            Array.from({ length: some }, () => inventedRecord(drawn++)),
          );
        }
      };
      const shown = { members: new Map<unknown, Holdings>(), coordinator: new Map<unknown, Holdings>() };
      for (let round = 0; round < 60; round++) {
        const centre = centres[random.integer(centres.length)];
        if (centre !== undefined) await step(centre);
        const held = centres.map(({ heads }) => new Map(heads));
        for (const [kind, token] of [
          ['members', pool.reader],
          ['coordinator', pool.coordinator],
        ] as const) {
          const { release } = await pool.ask(token);
          if (release !== undefined && !shown[kind].has(release)) shown[kind].set(release, held);
        }
      }
      const releases = [...shown.members.values()];
      expect(releases.length).toBeGreaterThan(3);
      releases.forEach((before, i) => {
        for (const after of releases.slice(i + 1)) {
          const changed = changedBetween(before, after);
          const total = changed.reduce((sum, count) => sum + count, 0);
          for (const own of [0, ...changed])
            expect(isSmall(total - own, SMALLEST), changed.join()).toBe(false);
        }
      });
      const ofCoordinator = [...shown.coordinator];
      expect(ofCoordinator.length).toBeGreaterThan(1);
      ofCoordinator.forEach(([number, before], i) => {
        expect(shown.members.has(number)).toBe(true);
        const next = ofCoordinator[i + 1];
        if (next === undefined) return;
        for (const count of changedBetween(before, next[1])) expect(isSmall(count, SMALLEST)).toBe(false);
      });
      await pool.service.close();
    },
  );
});

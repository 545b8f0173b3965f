import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { recordWith } from './contribution.fixture';
import { roundDays } from './round-days';

const day = fc.integer({ min: -1000, max: 6000 });
const anyRecord = fc
  .record({ visits: fc.array(day, { maxLength: 12 }), events: fc.array(day, { maxLength: 4 }) })
  .map(({ visits, events }) =>
    recordWith({
      visits: visits.map((exact) => ({ kind: 'follow_up', day: exact, values: [] })),
      events: events.map((exact) => ({ event: 'moved', day: exact })),
    }),
  );

function days(record: ReturnType<typeof recordWith>): number[] {
  return [...record.visits, ...record.events].map((one) => one.day);
}

describe('rounding of days', () => {
  it('gives multiples of the step and keeps what was before, on the same day, after, and on which side of time zero', () => {
    fc.assert(
      fc.property(anyRecord, fc.integer({ min: 1, max: 91 }), (record, step) => {
        const exact = days(record);
        const rounded = days(roundDays(record, step));
        for (const [i, one] of rounded.entries()) {
          expect(Math.abs(one % step)).toBe(0);
          expect(Math.sign(one)).toBe(Math.sign(exact[i] ?? NaN));
          for (const [j, other] of rounded.entries())
            expect(Math.sign(one - other)).toBe(Math.sign((exact[i] ?? NaN) - (exact[j] ?? NaN)));
        }
      }),
    );
  });

  it('moves no day by more than half a step where visits are two steps apart and from time zero', () => {
    const spaced = fc.array(fc.integer({ min: 14, max: 400 }), { maxLength: 10 }).map((gaps) => {
      let sum = 0;
      return gaps.map((gap) => (sum += gap));
    });
    fc.assert(
      fc.property(spaced, (exact) => {
        const record = recordWith({
          visits: exact.map((one) => ({ kind: 'follow_up', day: one, values: [] })),
        });
        days(roundDays(record, 7)).forEach((one, i) =>
          expect(Math.abs(one - (exact[i] ?? NaN))).toBeLessThanOrEqual(3),
        );
      }),
    );
  });

  it('by hand, in weeks', () => {
    const record = recordWith({
      visits: [-300, 0, 2, 361, 362].map((one) => ({ kind: 'follow_up', day: one, values: [] })),
    });
    expect(days(roundDays(record, 7))).toEqual([-301, 0, 7, 364, 371]);
  });

  it('changes nothing in steps of a day', () => {
    fc.assert(
      fc.property(anyRecord, (record) => {
        expect(roundDays(record, 1)).toEqual(record);
      }),
    );
  });
});

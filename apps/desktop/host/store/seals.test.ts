import { describe, expect, it } from 'vitest';
import type { PatientHistory } from '@longhold/core/records';
import { adjustSealSum, NO_SEALS, Sealer } from './seals';
import { inventedStudy } from './store.fixture';

const sealer = new Sealer(Buffer.alloc(32, 7));
const [HISTORY] = inventedStudy(1, 2) as [PatientHistory];

describe("A patient's seal", () => {
  it('changes with every single field', () => {
    const seals = new Set([sealer.patient(HISTORY)]);
    let changed = 0;
    for (const altered of everySingleChange(HISTORY)) {
      seals.add(sealer.patient(altered));
      changed++;
    }
    expect(changed).toBeGreaterThan(90);
    expect(seals.size).toBe(changed + 1);
  });

  it('does not depend on the order of visits, readings and events', () => {
    const reversed = {
      ...HISTORY,
      visits: [...HISTORY.visits]
        .reverse()
        .map((visit) => ({ ...visit, measurements: [...visit.measurements].reverse() })),
    };
    expect(sealer.patient(reversed)).toBe(sealer.patient(HISTORY));
  });

  it('is what it was before films had factors and numbers, where they have none', () => {
    const before: PatientHistory = {
      patient: {
        code: 'P-1',
        sex: 'female',
        birthDate: '2005-02-28',
        group: 'treated',
        protocol: 'PLATE 1',
        expansion: null,
        maturityStart: 'CS3',
        treatmentStart: '2016-01-10',
        activeEnd: '2017-01-09',
        consentFollowUp: true,
        consentPooling: false,
      },
      visits: [
        {
          kind: 'start',
          date: '2016-01-05',
          ageYears: null,
          filmFactor: null,
          filmFactorEvidence: null,
          measurements: [
            { measure: 'Co-Gn', value: 104.5, unit: 'mm', replicate: 1, examiner: 'AB', film: 1 },
          ],
        },
      ],
      events: [{ date: '2020-06-01', event: 'moved' }],
    };
    // The digest that the program gave before its records knew of film factors.
    expect(sealer.patient(before)).toBe('cc70ae12c620956a6bebe3117effeefdf5ebb9241aab27aebe6ee16ff8d80583');
  });

  it('can only be made with the key', () => {
    expect(new Sealer(Buffer.alloc(32, 8)).patient(HISTORY)).not.toBe(sealer.patient(HISTORY));
  });
});

describe('The sum of seals', () => {
  const seals = inventedStudy(50, 3).map((history) => sealer.patient(history));

  it('is the same in any order and comes back when what was added is taken away', () => {
    const sum = adjustSealSum(NO_SEALS, seals, []);
    expect(adjustSealSum(NO_SEALS, [...seals].reverse(), [])).toBe(sum);
    expect(adjustSealSum(sum, [], seals)).toBe(NO_SEALS);
    expect(adjustSealSum(NO_SEALS, [], seals.slice(0, 1))).toMatch(/^[0-9a-f]{64}$/);
  });

  it('tells when one is missing or doubled', () => {
    const sum = adjustSealSum(NO_SEALS, seals, []);
    expect(adjustSealSum(NO_SEALS, seals.slice(1), [])).not.toBe(sum);
    expect(adjustSealSum(sum, seals.slice(0, 1), [])).not.toBe(sum);
  });
});

/** The same history with one field at a time made into something else. */
function* everySingleChange(history: PatientHistory): Generator<PatientHistory> {
  for (const path of leavesOf(history, [])) {
    const copy = structuredClone(history);
    let place: object = copy;
    for (const step of path.slice(0, -1)) place = Reflect.get(place, step) as object;
    const last = path[path.length - 1] ?? '';
    Reflect.set(place, last, `changed ${JSON.stringify(Reflect.get(place, last))}`);
    yield copy;
  }
  yield { ...history, events: [...history.events, { date: '2022-02-02', event: 'declined' }] };
  yield { ...history, visits: history.visits.slice(1) };
}

function* leavesOf(value: unknown, path: string[]): Generator<string[]> {
  if (typeof value !== 'object' || value === null) yield path;
  else for (const [key, inner] of Object.entries(value)) yield* leavesOf(inner, [...path, key]);
}

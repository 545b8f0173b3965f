import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { patientsChangedAtLeast } from './changed-patients';
import { centreStatistics } from './centre-statistics-of';
import { INVENTED_SHEET, inventedDefinition, inventedRecords } from './invented-centres.fixture';

const RECORDS = inventedRecords({ patients: 40, seed: 5, untreated: 12 });
const COMING = inventedRecords({ patients: 20, seed: 6 });

function statisticsOf(records: typeof RECORDS, changes: Parameters<typeof inventedDefinition>[0] = {}) {
  const definition = inventedDefinition(changes);
  return centreStatistics(records, {
    sheet: INVENTED_SHEET,
    definition,
    definitionVersion: 1,
    software: '0.1.0',
  });
}

describe('The number of patients that changed between two statistics of a centre', () => {
  it('is never told larger than it is, whoever came, changed and went', () => {
    const picked = fc.array(fc.nat({ max: 39 }), { maxLength: 12 });
    fc.assert(
      fc.property(fc.nat({ max: 20 }), picked, picked, fc.boolean(), (come, changing, going, own) => {
        const reference = own ? { reference: { kind: 'own-untreated-series' as const } } : {};
        const gone = new Set(going);
        const changed = new Set(changing.filter((i) => !gone.has(i)));
        const kept = RECORDS.filter((_, i) => !gone.has(i)).map((record) =>
          changed.has(RECORDS.indexOf(record)) ? { ...record, ageMonths: record.ageMonths + 3 } : record,
        );
        const least = patientsChangedAtLeast(
          statisticsOf(RECORDS, reference),
          statisticsOf([...kept, ...COMING.slice(0, come)], reference),
        );
        expect(least).toBeLessThanOrEqual(come + changed.size + gone.size);
      }),
      { numRuns: 30 },
    );
  });

  it('is exact where patients with gains only come, or only change', () => {
    const former = statisticsOf(RECORDS.slice(0, 20));
    const added = statisticsOf(RECORDS.slice(0, 27));
    expect(patientsChangedAtLeast(former, added)).toBe(7);
    expect(patientsChangedAtLeast(added, former)).toBe(7);
    expect(patientsChangedAtLeast(former, former)).toBe(0);
  });
});

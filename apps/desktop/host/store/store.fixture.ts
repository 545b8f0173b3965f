import { createHash } from 'node:crypto';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { ImportedTable } from '@longhold/core/growth';
import type { TouchedPatient } from '@longhold/core/intake';
import { noChanges } from '@longhold/core/intake';
import { createRandom } from '@longhold/core/numeric';
import type { PatientHistory, Study, Visit } from '@longhold/core/records';
import type { ImportToApply } from './apply-import';

export const MIGRATIONS_FOLDER = join(import.meta.dirname, 'migrations');
export const PASSPHRASE = 'seven calm herons';
export const AUTHORSHIP = { at: '2026-03-01T09:30:00.000Z', actor: 'test' };

/** Costs that make a test quick; a real store is never made with them. */
export const QUICK_COSTS = { cost: 2, blockSize: 1, parallel: 1 };

const MEASURE_CODES = ['Co-Gn', 'Co-Go', 'Go-Pog', 'SNB', 'ANB', 'Wits'];

/** A folder that is removed when the test file is done. */
export function temporaryFolder(onDone: (clean: () => void) => void): string {
  const folder = mkdtempSync(join(tmpdir(), 'longhold-store-'));
  onDone(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

export function storeOptions(path: string): {
  path: string;
  passphrase: string;
  migrationsFolder: string;
  scryptCosts: typeof QUICK_COSTS;
} {
  return { path, passphrase: PASSPHRASE, migrationsFolder: MIGRATIONS_FOLDER, scryptCosts: QUICK_COSTS };
}

/** One after another for the visits of a patient. */
const FACTORS = [
  { filmFactor: null, filmFactorEvidence: null },
  { filmFactor: 0.912, filmFactorEvidence: 'apparatus_distances' },
  { filmFactor: 1, filmFactorEvidence: null },
] as const;

/** Invented patients; the same for the same seed. Every field takes each kind of value, null among them. */
export function inventedStudy(patients: number, seed: number, visitsEach = 3): PatientHistory[] {
  const random = createRandom(seed);
  return Array.from({ length: patients }, (_unused, index): PatientHistory => {
    const treated = random.uniform() < 0.7;
    const agesOnly = random.uniform() < 0.2;
    return {
      patient: {
        code: `P${seed}-${String(index).padStart(5, '0')}`,
        sex: random.uniform() < 0.5 ? 'female' : 'male',
        birthDate: agesOnly ? null : '2005-02-28',
        group: treated ? 'treated' : 'untreated',
        protocol: treated ? 'PLATE 1' : null,
        expansion: [true, false, null][random.integer(3)] ?? null,
        maturityStart: random.uniform() < 0.5 ? 'CS3' : null,
        treatmentStart: treated && !agesOnly ? '2016-01-10' : null,
        activeEnd: treated && !agesOnly ? '2017-01-09' : null,
        consentFollowUp: random.uniform() < 0.9,
        consentPooling: random.uniform() < 0.5,
      },
      visits: Array.from({ length: visitsEach }, (_none, visit): Visit => ({
        kind: (['start', 'end_of_active'] as const)[visit] ?? 'follow_up',
        date: agesOnly ? null : `20${16 + visit}-03-0${1 + random.integer(9)}`,
        ageYears: agesOnly ? 11 + visit + random.uniform() : null,
        ...(FACTORS[visit % FACTORS.length] ?? FACTORS[0]),
        measurements: MEASURE_CODES.map((measure) => ({
          measure,
          value: 50 + 60 * random.uniform(),
          unit: measure === 'SNB' || measure === 'ANB' ? ('deg' as const) : ('mm' as const),
          replicate: 1,
          examiner: ['', 'AB', 'Žofie 2'][random.integer(3)] ?? '',
          film: measure === 'Wits' ? 2 : 1,
        })),
      })),
      events: random.uniform() < 0.3 ? [{ date: '2020-06-01', event: 'moved' }] : [],
    };
  });
}

/** An invented growth table. */
export const GROWTH_TABLE: ImportedTable = {
  name: 'Žofie 1',
  measure: 'Co-Gn',
  source: 'invented for tests',
  filmFactor: 0.912,
  ownRateSd: null,
  rows: [
    { sex: 'female', ageYears: 10, stage: null, mean: 112, sd: 5, n: 40 },
    { sex: 'female', ageYears: 12, stage: null, mean: 118, sd: 5.2, n: 38 },
  ],
};

/** The import of one growth table in place of what the store has of its name and measure. */
export function tableImport(before: ImportedTable | null, after: ImportedTable): ImportToApply {
  return { ...importOf([], []), touchedTables: [{ before, after }] };
}

/** The import that turns one study into another; patients that `to` does not name stay. */
export function importOf(from: Study, to: Study, fingerprint = 'of invented files'): ImportToApply {
  const known = new Map(from.map((history) => [history.patient.code, history]));
  const touched = to.map((after): TouchedPatient => ({
    code: after.patient.code,
    before: known.get(after.patient.code) ?? null,
    after,
  }));
  return { touched, touchedTables: [], fingerprint, counts: noChanges(), ...AUTHORSHIP };
}

/** Names and digests of all files in a folder. */
export function contentsOf(folder: string): Record<string, string> {
  const files = readdirSync(folder, { withFileTypes: true }).filter((entry) => entry.isFile());
  const digest = (name: string): string =>
    createHash('sha256')
      .update(readFileSync(join(folder, name)))
      .digest('hex');
  return Object.fromEntries(files.map(({ name }) => [name, digest(name)]));
}

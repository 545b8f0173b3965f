import type { ImportedTable } from '@longhold/core/growth';
import { inFileOrder } from '@longhold/core/intake';
import { createRandom } from '@longhold/core/numeric';
import type { IsoDate, PatientHistory } from '@longhold/core/records';
import { drawGrowthTable } from './growth-table';
import { DEMO_TODAY, UNTREATED_LETTER, UNTREATED_PER_TREATED } from './parameters';
import { drawTreatedPatient } from './treated-patient';
import { demoTruth, type DemoTruth } from './truth';
import { drawUntreatedChild } from './untreated-child';

/** What films add, films taken again, and the growth table are drawn by streams of their own: nothing else hangs on them. */
const RETAKES_SEED = 1_000_003;
const TABLE_SEED = 2_000_003;
const FILMS_SEED = 3_000_017;

export interface DemoOptions {
  /** Whole number; the same seed and number of patients always give the same study. */
  readonly seed: number;
  /** Treated patients. Two untreated children are added for every five of them. */
  readonly patients: number;
}

/** An invented study with a growth table, what is true of it, and the day on which it is read. */
export interface Demo {
  /** In the order of the import files: reading those gives exactly this. */
  readonly study: PatientHistory[];
  /** Growth tables as a clinic could import them. */
  readonly tables: readonly ImportedTable[];
  readonly truth: DemoTruth;
  readonly today: IsoDate;
}

/**
 * Draws an invented study: treated patients of three invented clinics and an untreated comparison series.
 * Model and numbers: `docs/demo.md`. Nothing in it comes from a real child.
 * @throws RangeError when the seed is not a whole number from 0 to 2147483647 or there are no patients.
 */
export function generateDemo({ seed, patients }: DemoOptions): Demo {
  if (!Number.isInteger(seed) || seed < 0 || seed > 2_147_483_647) {
    throw new RangeError('generateDemo: seed must be a whole number from 0 to 2147483647');
  }
  if (!Number.isInteger(patients) || patients < 1) {
    throw new RangeError('generateDemo: patients must be a whole number above 0');
  }
  const streams = {
    random: createRandom(seed),
    retakes: createRandom((seed + RETAKES_SEED) % 2 ** 31),
    films: createRandom((seed + FILMS_SEED) % 2 ** 31),
  };
  const nextCode = codeGiver(patients);
  const treated = Array.from({ length: patients }, () => drawTreatedPatient(streams, nextCode));
  const untreated = Array.from({ length: Math.ceil(UNTREATED_PER_TREATED * patients) }, () =>
    drawUntreatedChild(streams, nextCode(UNTREATED_LETTER)),
  );
  const study = inFileOrder([...treated.map(({ history }) => history), ...untreated]);
  const truths = treated.map(({ truth }) => truth).sort((a, b) => (a.code < b.code ? -1 : 1));
  const tables = [drawGrowthTable(createRandom((seed + TABLE_SEED) % 2 ** 31))];
  return { study, tables, truth: demoTruth({ seed, patients }, untreated.length, truths), today: DEMO_TODAY };
}

function codeGiver(patients: number): (letter: string) => string {
  const digits = Math.max(3, String(patients).length);
  const given = new Map<string, number>();
  return (letter) => {
    const number = (given.get(letter) ?? 0) + 1;
    given.set(letter, number);
    return `${letter}-${String(number).padStart(digits, '0')}`;
  };
}

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { MEASURES } from '../measures/catalogue';
import { importedTableSchema, type ImportedTable, type ImportedTableRow } from '../growth/imported-table';
import { addDays } from '../records/calendar';
import type { PatientHistory } from '../records/history';
import type { Measurement, PatientEvent, Visit } from '../records/visit';
import {
  eventKindSchema,
  filmFactorEvidenceSchema,
  maturityStageSchema,
  sexSchema,
  visitKindSchema,
} from '../records/vocabulary';
import { changeTotal } from './changes';
import { faultSchema, faultText } from './faults';
import { EXAMPLE, studyOf } from './example.fixture';
import { growthTableKey } from './growth-table-rows';
import { measurementKey } from './identity';
import { mergeGrowthTables } from './merge-growth-tables';
import { mergeStudy } from './merge-study';
import { readImport } from './read-import';
import { inFileOrder, writeGrowthTables, writeImportFiles } from './write-import-files';

const measurement: fc.Arbitrary<Measurement> = fc
  .record({
    measure: fc.constantFrom(...MEASURES),
    share: fc.double({ min: 0, max: 1, noNaN: true }),
    replicate: fc.integer({ min: 1, max: 99 }),
    examiner: fc.constantFrom('', 'ex1', 'É. b', '7'),
    film: fc.constantFrom(1, 1, 2, 9),
  })
  .map(({ measure, share, replicate, examiner, film }) => {
    const [low, high] = measure.plausible;
    // Adding zero turns a negative zero, which a text cannot tell from zero, into zero.
    const value = Math.min(high, low + share * (high - low)) + 0;
    return { measure: measure.code, value, unit: measure.unit, replicate, examiner, film };
  });
const factor: fc.Arbitrary<Pick<Visit, 'filmFactor' | 'filmFactorEvidence'>> = fc.oneof(
  fc.constant({ filmFactor: null, filmFactorEvidence: null }),
  fc.record({
    filmFactor: fc.double({ min: 0.5, max: 1.1, noNaN: true }),
    filmFactorEvidence: fc.option(fc.constantFrom(...filmFactorEvidenceSchema.options)),
  }),
);
const factors = fc.array(factor, { minLength: 6, maxLength: 6 });
const measurements = fc.uniqueArray(measurement, { minLength: 1, maxLength: 6, selector: measurementKey });

const common = fc.record({
  code: fc.stringMatching(/^[A-Za-z0-9][A-Za-z0-9._-]{0,11}$/),
  sex: fc.constantFrom(...sexSchema.options),
  maturityStart: fc.option(fc.constantFrom(...maturityStageSchema.options)),
  consentFollowUp: fc.boolean(),
  consentPooling: fc.boolean(),
});
const treatment = fc.record({
  protocol: fc.constantFrom('PLATE', 'b.2', 'plate + splint', '01'),
  expansion: fc.option(fc.boolean()),
});

/** Strictly rising day numbers or ages, one for each visit. */
const steps = fc.array(fc.integer({ min: 1, max: 700 }), { minLength: 1, maxLength: 6 });
const happenings = fc.uniqueArray(
  fc.record({ days: fc.integer({ min: 0, max: 4000 }), event: fc.constantFrom(...eventKindSchema.options) }),
  { maxLength: 3, selector: ({ days, event }) => `${days} ${event}` },
);

function risingFrom(start: number, widths: readonly number[]): number[] {
  let at = start;
  return widths.map((width) => (at += width));
}

function factorOf(
  films: readonly Pick<Visit, 'filmFactor' | 'filmFactorEvidence'>[],
  index: number,
): Pick<Visit, 'filmFactor' | 'filmFactorEvidence'> {
  return films[index] ?? { filmFactor: null, filmFactorEvidence: null };
}

const dated: fc.Arbitrary<PatientHistory> = fc
  .record({
    common,
    treatment,
    steps,
    happenings,
    readings: fc.array(measurements, { minLength: 6, maxLength: 6 }),
    films: factors,
  })
  .map(({ common: person, treatment: course, steps: widths, happenings: events, readings, films }) => {
    const birthDate = '2004-02-29';
    const treatmentStart = '2014-06-01';
    const activeEnd = '2015-06-01';
    const visitDays = [0, 400, ...risingFrom(401, widths)].slice(0, 6);
    const visits = visitDays.map((days, index): Visit => ({
      kind: visitKindSchema.options[Math.min(index, 2)] ?? 'follow_up',
      date: addDays(treatmentStart, days),
      ageYears: null,
      ...factorOf(films, index),
      measurements: readings[index] ?? [],
    }));
    const dates = events.map(({ days, event }): PatientEvent => ({
      date: addDays(treatmentStart, days),
      event,
    }));
    const patient = { ...person, ...course, group: 'treated' as const, birthDate, treatmentStart, activeEnd };
    return { patient, visits, events: dates };
  });

const agesOnly: fc.Arbitrary<PatientHistory> = fc
  .record({
    common,
    treatment: fc.option(treatment),
    steps,
    readings: fc.array(measurements, { minLength: 6, maxLength: 6 }),
    films: factors,
  })
  .map(({ common: person, treatment: course, steps: widths, readings, films }) => {
    const kinds: Visit['kind'][] = course === null ? ['follow_up'] : ['start', 'end_of_active', 'follow_up'];
    const visits = risingFrom(2000, widths).map((days, index): Visit => ({
      kind: kinds[Math.min(index, kinds.length - 1)] ?? 'follow_up',
      date: null,
      ageYears: days / 365.25,
      ...factorOf(films, index),
      measurements: readings[index] ?? [],
    }));
    const group = course === null ? ('untreated' as const) : ('treated' as const);
    const treated = course ?? { protocol: null, expansion: null };
    const patient = { ...person, ...treated, group, birthDate: null, treatmentStart: null, activeEnd: null };
    return { patient, visits, events: [] };
  });

const study = fc.uniqueArray(fc.oneof(dated, agesOnly), {
  maxLength: 8,
  selector: ({ patient }) => patient.code,
});

describe('files that Longhold writes', () => {
  it('read back as exactly the study they were written from', () => {
    fc.assert(
      fc.property(study, (records) => {
        expect(studyOf(writeImportFiles(records))).toEqual(inFileOrder(records));
      }),
      { numRuns: 200 },
    );
  });

  it('are the same text in whatever order the study stands', () => {
    fc.assert(
      fc.property(study, (records) => {
        const turned = [...records].reverse().map(({ patient, visits, events }) => ({
          patient,
          visits: [...visits].reverse(),
          events: [...events].reverse(),
        }));
        expect(writeImportFiles(turned)).toEqual(writeImportFiles(records));
      }),
    );
  });

  it('change nothing when they are imported into the study they came from', () => {
    fc.assert(
      fc.property(study, (records) => {
        const again = studyOf(writeImportFiles(records), records);
        const { changes, touched, conflicts } = mergeStudy(records, again);
        expect(changeTotal(changes)).toBe(0);
        expect(touched).toEqual([]);
        expect(conflicts).toEqual([]);
      }),
    );
  });

  it('lead to the same store in two halves as at once', () => {
    fc.assert(
      fc.property(study, study, (first, second) => {
        const codes = new Set(first.map(({ patient }) => patient.code));
        const others = second.filter(({ patient }) => !codes.has(patient.code));
        const { touched } = mergeStudy(first, studyOf(writeImportFiles(others), first));
        const whole = [...first, ...touched.map(({ after }) => after)];
        expect(inFileOrder(whole)).toEqual(studyOf(writeImportFiles([...first, ...others])));
      }),
    );
  });
});

/** Always an answer of the promised form; never an exception. */
const mean = fc.double({ min: 60, max: 170, noNaN: true });
const sd = fc.option(fc.double({ min: 0.01, max: 50, noNaN: true }));
const count = fc.option(fc.integer({ min: 1, max: 5000 }));
const bothSexes = <Place extends object>(places: fc.Arbitrary<Place[]>): fc.Arbitrary<ImportedTableRow[]> =>
  fc
    .tuple(places, places, fc.array(fc.tuple(mean, sd, count), { minLength: 20, maxLength: 20 }))
    .map(([girls, boys, values]) =>
      [
        ...girls.map((place) => ({ sex: 'female' as const, ...NOWHERE, ...place })),
        ...boys.map((place) => ({ sex: 'male' as const, ...NOWHERE, ...place })),
      ].map((row, i) => {
        const [mean = 100, sd = null, n = null] = values[i] ?? [];
        return { ...row, mean, sd, n };
      }),
    );
const NOWHERE = { ageYears: null, stage: null };
const ages = fc
  .uniqueArray(
    fc.double({ min: 0, max: 100, noNaN: true }).map((age) => age + 0),
    {
      minLength: 2,
      maxLength: 8,
    },
  )
  .map((values) => values.map((ageYears) => ({ ageYears })));
const stages = fc
  .uniqueArray(fc.constantFrom(...maturityStageSchema.options), { minLength: 2, maxLength: 6 })
  .map((values) => values.map((stage) => ({ stage })));
const growthTables: fc.Arbitrary<ImportedTable[]> = fc.uniqueArray(
  fc
    .record({
      name: fc.constantFrom('Oak', 'oak 2', 'É-table', '1'),
      source: fc.constantFrom('invented', 'invented; "quoted", with commas', 'a – b'),
      filmFactor: fc.double({ min: 0.5, max: 1.1, noNaN: true }),
      ownRateSd: fc.option(fc.double({ min: 0, max: 10, noNaN: true })),
      rows: fc.oneof(bothSexes(ages), bothSexes(stages)),
    })
    .map((table) => ({ ...table, measure: 'Co-Gn' })),
  { maxLength: 3, selector: growthTableKey },
);

function tablesOf(growthTables: string): ImportedTable[] {
  const reading = readImport({ patients: null, measurements: null, events: null, growthTables });
  if (!reading.ok) throw new Error(JSON.stringify(reading.faults));
  return reading.tables;
}

describe('growth tables that Longhold writes', () => {
  it('read back as the tables they were written from, so that importing them again changes nothing', () => {
    fc.assert(
      fc.property(growthTables, (tables) => {
        const again = tablesOf(writeGrowthTables(tables));
        for (const table of again) expect(importedTableSchema.safeParse(table).success).toBe(true);
        const { tally, touched } = mergeGrowthTables(tables, again);
        expect(touched).toEqual([]);
        expect(tally).toEqual({ added: 0, changed: 0, unchanged: tables.length });
      }),
    );
  });
});

function expectAnswer(texts: Parameters<typeof readImport>[0]): void {
  const reading = readImport(texts, studyOf(EXAMPLE));
  if (reading.ok) return;
  expect(reading.faults.length).toBeGreaterThan(0);
  for (const fault of reading.faults) {
    expect(faultSchema.safeParse(fault).success).toBe(true);
    expect(faultText(fault)).toContain(fault.file);
  }
}

describe('any text at all', () => {
  const files = ['patients', 'measurements', 'events'] as const;

  it('gives faults or a study when it is rubbish', () => {
    const letters = fc.string({
      unit: fc.constantFrom('"', ',', ';', '\n', '\r', '\t', ' ', 'a', '1', '\0', '\uFFFD'),
    });
    const rubbish = fc.option(
      fc.oneof(letters, fc.string({ unit: 'binary' }), fc.constantFrom('__proto__', 'code')),
    );
    fc.assert(
      fc.property(
        fc.record({ patients: rubbish, measurements: rubbish, events: rubbish, growthTables: rubbish }),
        expectAnswer,
      ),
      { numRuns: 500 },
    );
  });

  it('gives faults or a study when a file is cut short', () => {
    fc.assert(
      fc.property(fc.constantFrom(...files), fc.nat(600), (file, length) =>
        expectAnswer({ ...EXAMPLE, [file]: (EXAMPLE[file] ?? '').slice(0, length) }),
      ),
      { numRuns: 300 },
    );
  });

  it('gives faults or a study when one character is another', () => {
    const character = fc.string({ unit: 'binary', minLength: 0, maxLength: 2 });
    fc.assert(
      fc.property(fc.constantFrom(...files), fc.nat(600), character, (file, at, put) => {
        const whole = EXAMPLE[file] ?? '';
        expectAnswer({ ...EXAMPLE, [file]: whole.slice(0, at) + put + whole.slice(at + 1) });
      }),
      { numRuns: 500 },
    );
  });

  it('reads the same with its columns shuffled', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...files),
        fc.array(fc.double({ noNaN: true }), { minLength: 11, maxLength: 11 }),
        (file, ranks) => {
          const shuffled = (EXAMPLE[file] ?? '')
            .split('\n')
            .map((line) => {
              const cells = line.split(',').map((cell, index) => ({ cell, rank: ranks[index] ?? 0 }));
              return cells
                .sort((a, b) => a.rank - b.rank)
                .map(({ cell }) => cell)
                .join(',');
            })
            .join('\n');
          expect(studyOf({ ...EXAMPLE, [file]: shuffled })).toEqual(studyOf(EXAMPLE));
        },
      ),
    );
  });
});

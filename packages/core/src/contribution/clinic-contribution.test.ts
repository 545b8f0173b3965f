import { generateDemo } from '@longhold/demo';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  addDays,
  daysBetween,
  eventKindSchema,
  filmFactorEvidenceSchema,
  maturityStageSchema,
  patientHistorySchema,
  sexSchema,
  visitKindSchema,
  type Measurement,
  type PatientHistory,
  type Study,
  type Visit,
} from '../records';
import { clinicContribution, type ClinicContribution } from './clinic-contribution';
import { definitionWith, FINEST, pseudonymOf } from './contribution.fixture';
import { centreSheetSchema, pooledRecordSchema, type PooledRecord } from './pooled-record';

/** Strings that would give a patient, a person or a machine away, one for each field of free text. */
const CANARY = {
  code: 'Marguerite.Quillfeather-1',
  protocol: 'Dr Oakapple plus',
  examiner: 'Thistlewick R.',
} as const;

/** Nothing is hidden by coarsening there, so that what is hidden is so by what leaves at all. */
const listed = definitionWith({ coarsening: FINEST });
const noContext = { asOf: null, filmFactor: null };

function contributionOf(study: Study, definition = listed): ClinicContribution {
  return clinicContribution(study, definition, pseudonymOf, noContext);
}

/** All that leaves, as one text. */
function leavesAs({ records, sheet }: ClinicContribution): string {
  return JSON.stringify({ records, sheet });
}

const anyDate = fc.integer({ min: 0, max: 5000 }).map((days) => addDays('2008-03-01', days));
const anyReading: fc.Arbitrary<Measurement> = fc.record({
  measure: fc.constantFrom('Co-Gn', 'SNB', 'overjet', 'ANB'),
  value: fc.double({ min: 1, max: 150, noNaN: true }),
  unit: fc.constantFrom('mm', 'deg'),
  replicate: fc.integer({ min: 1, max: 3 }),
  examiner: fc.constant(CANARY.examiner),
  film: fc.integer({ min: 1, max: 2 }),
});
const anyVisit: fc.Arbitrary<Visit> = fc
  .record({
    kind: fc.constantFrom(...visitKindSchema.options),
    date: fc.option(anyDate),
    ageYears: fc.option(fc.double({ min: 6, max: 25, noNaN: true })),
    filmFactor: fc.option(fc.constantFrom(1, 0.912)),
    filmFactorEvidence: fc.option(fc.constantFrom(...filmFactorEvidenceSchema.options)),
    measurements: fc.array(anyReading, { maxLength: 6 }),
  })
  .map((visit) => ({
    ...visit,
    ageYears: visit.date === null && visit.ageYears === null ? 12 : visit.ageYears,
    filmFactorEvidence: visit.filmFactor === null ? null : visit.filmFactorEvidence,
  }));
const anyHistory: fc.Arbitrary<PatientHistory> = fc.record({
  patient: fc.record({
    code: fc.integer({ min: 0, max: 1_000_000 }).map((number) => `${CANARY.code}.${number}`),
    sex: fc.constantFrom(...sexSchema.options),
    birthDate: fc.option(fc.integer({ min: 0, max: 3000 }).map((days) => addDays('1998-05-05', days))),
    group: fc.constantFrom('treated', 'untreated'),
    protocol: fc.constantFrom(CANARY.protocol, 'PLATE', null),
    expansion: fc.constantFrom(true, false, null),
    maturityStart: fc.option(fc.constantFrom(...maturityStageSchema.options)),
    treatmentStart: fc.option(anyDate),
    activeEnd: fc.option(anyDate),
    consentFollowUp: fc.boolean(),
    consentPooling: fc.boolean(),
  }),
  visits: fc.array(anyVisit, { maxLength: 6 }),
  events: fc.array(fc.record({ date: anyDate, event: fc.constantFrom(...eventKindSchema.options) }), {
    maxLength: 3,
  }),
});
const anyStudy = fc.uniqueArray(anyHistory, { maxLength: 12, selector: ({ patient }) => patient.code });

/** Every number in something, however deep. */
function numbersIn(value: unknown): number[] {
  if (typeof value === 'number') return [value];
  return typeof value === 'object' && value !== null ? Object.values(value).flatMap(numbersIn) : [];
}

const demo = generateDemo({ seed: 7, patients: 120 });
const demoContext = { asOf: demo.today, filmFactor: null };

describe('what leaves a clinic', () => {
  it('holds no code, protocol of its own, examiner, evidence, date or birth date, whatever the records hold', () => {
    let left = 0;
    fc.assert(
      fc.property(anyStudy, (study) => {
        study.forEach((history) => expect(patientHistorySchema.safeParse(history).success).toBe(true));
        const contribution = contributionOf(study);
        const text = leavesAs(contribution);
        left += contribution.records.length;
        for (const planted of Object.values(CANARY)) expect(text).not.toContain(planted);
        for (const evidence of filmFactorEvidenceSchema.options) expect(text).not.toContain(evidence);
        expect(text).not.toMatch(/\d{4}-\d{2}-\d{2}/);
        const numbers = new Set(
          numbersIn({ ...contribution.records, sheet: contribution.sheet }).map(Math.abs),
        );
        for (const { patient } of study) {
          if (patient.birthDate !== null)
            expect(numbers).not.toContain(Math.abs(daysBetween('1970-01-01', patient.birthDate)));
        }
      }),
      { numRuns: 300 },
    );
    expect(left).toBeGreaterThan(100);
  });

  it('fits the strict schemas, record by record and as a sheet', () => {
    fc.assert(
      fc.property(anyStudy, (study) => {
        const { records, sheet } = contributionOf(study);
        for (const record of records) expect(pooledRecordSchema.parse(record)).toEqual(record);
        expect(centreSheetSchema.parse(sheet)).toEqual(sheet);
      }),
    );
  });

  it('is only of treated patients with both consents and untreated children with consent for pooling', () => {
    fc.assert(
      fc.property(anyStudy, (study) => {
        const { records, leftOut, codes } = contributionOf(study);
        const consenting = new Set(
          study
            .filter(
              ({ patient }) =>
                patient.consentPooling && (patient.group === 'untreated' || patient.consentFollowUp),
            )
            .map(({ patient }) => pseudonymOf(patient.code)),
        );
        for (const { pseudonym } of records) expect(consenting).toContain(pseudonym);
        expect(records.length + leftOut.length).toBe(study.length);
        expect(records.map(({ pseudonym }) => codes.has(pseudonym))).not.toContain(false);
      }),
    );
  });

  it('has nothing in it of those without consent but how many they are', () => {
    const altered = (history: PatientHistory): PatientHistory =>
      history.patient.consentPooling
        ? history
        : { ...history, visits: history.visits.slice(0, 1), events: [] };
    fc.assert(
      fc.property(anyStudy, (study) => {
        const asOf = '2030-01-01';
        const own = clinicContribution(study, listed, pseudonymOf, { asOf, filmFactor: null });
        const other = clinicContribution(study.map(altered), listed, pseudonymOf, { asOf, filmFactor: null });
        expect(leavesAs(other)).toBe(leavesAs(own));
      }),
    );
  });

  it('hangs on no order of patients, visits and events', () => {
    const reversed = <Item>(items: readonly Item[]): Item[] => [...items].reverse();
    const back = demo.study.map((history) => ({
      ...history,
      visits: reversed(history.visits),
      events: reversed(history.events),
    }));
    const definition = definitionWith();
    const one = clinicContribution(demo.study, definition, pseudonymOf, demoContext);
    const other = clinicContribution(reversed(back), definition, pseudonymOf, demoContext);
    expect(other.records).toEqual(one.records);
    expect(other.leftOut).toEqual(one.leftOut);
  });

  it('is gone once consent is taken back', () => {
    const definition = definitionWith();
    const before = clinicContribution(demo.study, definition, pseudonymOf, demoContext);
    const [pseudonym, code] = [...before.codes][0] ?? ['', ''];
    const study = demo.study.map((history) =>
      history.patient.code === code
        ? { ...history, patient: { ...history.patient, consentPooling: false } }
        : history,
    );
    const after = clinicContribution(study, definition, pseudonymOf, demoContext);
    expect(leavesAs(before)).toContain(pseudonym);
    expect(leavesAs(after)).not.toContain(pseudonym);
    expect(after.leftOut).toContainEqual(expect.objectContaining({ code, reason: 'no-pooling-consent' }));
  });
});

describe('the strict schema of a record', () => {
  /** Every object in a record, by the way to it. */
  function waysToObjects(value: unknown, way: readonly string[] = []): (readonly string[])[] {
    if (typeof value !== 'object' || value === null) return [];
    const inside = Object.entries(value).flatMap(([key, item]) => waysToObjects(item, [...way, key]));
    return Array.isArray(value) ? inside : [way, ...inside];
  }

  function withKey(value: unknown, [first, ...way]: readonly string[], key: string): unknown {
    if (first === undefined) return Object.assign({}, value, { [key]: 'Quillfeather' });
    if (Array.isArray(value))
      return value.map((item: unknown, i) => (String(i) === first ? withKey(item, way, key) : item));
    return Object.fromEntries(
      Object.entries(value ?? {}).map(([name, item]) => [
        name,
        name === first ? withKey(item, way, key) : item,
      ]),
    );
  }

  it('refuses any unknown key, however deep', () => {
    const { records, sheet } = clinicContribution(demo.study, definitionWith(), pseudonymOf, demoContext);
    const full = records.find(({ events, visits }) => events.length > 0 && visits.length > 2);
    const ways = waysToObjects(full);
    expect(ways.length).toBeGreaterThan(8);
    const key = fc.constantFrom('name', 'birthDate', 'date', 'note', 'examiner', 'id');
    fc.assert(
      fc.property(
        fc.constantFrom(...ways),
        fc.oneof(key, fc.stringMatching(/^x[a-z]{1,8}$/)),
        (way, unknown) => {
          expect(pooledRecordSchema.safeParse(full).success).toBe(true);
          expect(pooledRecordSchema.safeParse(withKey(full, way, unknown)).success).toBe(false);
        },
      ),
    );
    for (const way of waysToObjects(sheet))
      expect(centreSheetSchema.safeParse(withKey(sheet, way, 'clinic')).success).toBe(false);
  });

  it('takes no text but words of closed lists, measure codes, protocol codes and the pseudonym', () => {
    const { records } = clinicContribution(demo.study, definitionWith(), pseudonymOf, demoContext);
    const texts = (value: unknown): string[] => {
      if (typeof value === 'string') return [value];
      return typeof value === 'object' && value !== null ? Object.values(value).flatMap(texts) : [];
    };
    const known = new Set(records.map(({ pseudonym }) => pseudonym));
    const words = new Set(texts(records).filter((text) => !known.has(text)));
    expect([...words].every((word) => /^[A-Za-z_-]{2,15}$|^CS[1-6]$/.test(word))).toBe(true);
    expect(words.size).toBeLessThan(30);
  });
});

describe("a treated patient's record", () => {
  const reading = (measure: string, value: number, film = 1): Measurement => {
    return { measure, value, unit: 'mm', replicate: 1, examiner: `E${value}`, film };
  };
  const visit = (kind: Visit['kind'], date: string | null, ...measurements: Measurement[]): Visit => {
    return { kind, date, ageYears: null, filmFactor: 0.9, filmFactorEvidence: null, measurements };
  };
  const history: PatientHistory = {
    patient: {
      code: 'P-1',
      sex: 'female',
      birthDate: '2008-01-15',
      group: 'treated',
      protocol: 'Own idea',
      expansion: false,
      maturityStart: 'CS3',
      treatmentStart: '2019-02-20',
      activeEnd: '2020-01-15',
      consentFollowUp: true,
      consentPooling: true,
    },
    visits: [
      visit('follow_up', '2018-12-01', reading('Co-Gn', 99)),
      visit('start', '2019-02-10', reading('Co-Gn', 100), reading('Co-Gn', 102, 2), reading('overjet', 9)),
      visit('follow_up', '2019-08-01', reading('Co-Gn', 104)),
      visit('end_of_active', '2020-01-20', reading('Co-Gn', 110)),
      visit('follow_up', '2021-01-14', reading('Co-Gn', 112), reading('ANB', 4)),
    ],
    events: [{ event: 'moved', date: '2021-03-01' }],
  };
  const record = (
    changed: PatientHistory,
    context: Parameters<typeof clinicContribution>[3] = { asOf: '2022-08-01', filmFactor: null },
  ): PooledRecord | undefined =>
    clinicContribution([changed], definitionWith({ coarsening: FINEST }), pseudonymOf, context).records[0];

  it('by hand: days from the end of active treatment, age in months then, one value a visit at natural size', () => {
    expect(record(history)).toEqual({
      pseudonym: pseudonymOf('P-1'),
      group: 'treated',
      sex: 'female',
      ageMonths: 144,
      protocol: null,
      expansion: false,
      maturityStart: 'CS3',
      // From 15 January 2020 to 1 August 2022 two windows closed, the second on 15 July 2022.
      yearsPassed: 2,
      visits: [
        {
          kind: 'start',
          day: -339,
          values: [
            { measure: 'Co-Gn', value: 101 * 0.9, films: 2, readings: 2, magnification: 'by-factor' },
            { measure: 'overjet', value: 9, films: 1, readings: 1, magnification: 'not-enlarged' },
          ],
        },
        {
          kind: 'end_of_active',
          day: 5,
          values: [{ measure: 'Co-Gn', value: 110 * 0.9, films: 1, readings: 1, magnification: 'by-factor' }],
        },
        {
          kind: 'follow_up',
          day: 365,
          values: [{ measure: 'Co-Gn', value: 112 * 0.9, films: 1, readings: 1, magnification: 'by-factor' }],
        },
      ],
      events: [{ event: 'moved', day: 411 }],
    });
  });

  it('of a series with ages only has the days between the ages', () => {
    const ages = [9, 10, 10.5, 11, 12];
    const agesOnly: PatientHistory = {
      patient: { ...history.patient, birthDate: null, activeEnd: null, treatmentStart: null },
      visits: history.visits.map((one, i) => ({ ...one, date: null, ageYears: ages[i] ?? null })),
      events: [],
    };
    const made = record(agesOnly);
    expect(made).toMatchObject({ ageMonths: 132, yearsPassed: 1 });
    expect(made?.visits.map(({ kind, day }) => [kind, day])).toEqual([
      ['start', -365],
      ['end_of_active', 0],
      ['follow_up', 365],
    ]);
  });

  it('has no length from films of unknown factor, unless the clinic gives one, and they are counted', () => {
    const unknown = { ...history, visits: history.visits.map((one) => ({ ...one, filmFactor: null })) };
    const { records, notUsed } = clinicContribution(
      [unknown],
      definitionWith({ coarsening: FINEST }),
      pseudonymOf,
      noContext,
    );
    const measures = records[0]?.visits.flatMap(({ values }) => values.map(({ measure }) => measure));
    expect(measures).toEqual(['overjet']);
    expect(notUsed).toMatchObject({ valuesWithoutFactor: 3, visitsTooEarly: 2, protocolsNotListed: 1 });
    const given = record(unknown, { asOf: null, filmFactor: 0.5 });
    expect(given?.visits[0]?.values[0]).toMatchObject({ value: 50.5, magnification: 'by-factor' });
  });

  it('has nothing of later days than the one on which the records are read', () => {
    const made = record(history, { asOf: '2020-06-30', filmFactor: null });
    expect(made?.visits.map(({ kind }) => kind)).toEqual(['start', 'end_of_active']);
    expect(made).toMatchObject({ yearsPassed: 0, events: [] });
  });

  it.each([
    ['no-end', { patient: { ...history.patient, activeEnd: null }, visits: history.visits.slice(0, 3) }],
    ['no-start', { visits: history.visits.slice(2) }],
    ['no-age', { patient: { ...history.patient, birthDate: null } }],
    ['outside-limits', { patient: { ...history.patient, birthDate: '2020-06-01' } }],
    ['no-follow-up-consent', { patient: { ...history.patient, consentFollowUp: false } }],
    ['untreated-not-needed', { patient: { ...history.patient, group: 'untreated' as const } }],
  ] as const)('is not made for a stated reason: %s', (reason, changed) => {
    const definition = definitionWith({ reference: { kind: 'built-in-table' } });
    const { records, leftOut } = contributionOf([{ ...history, ...changed }], definition);
    expect(records).toEqual([]);
    expect(leftOut).toEqual([expect.objectContaining({ code: 'P-1', reason })]);
  });

  it('is refused where two patients have one pseudonym or a pseudonym says something', () => {
    const other = { ...history, patient: { ...history.patient, code: 'P-2' } };
    const definition = definitionWith();
    expect(() =>
      clinicContribution([history, other], definition, () => pseudonymOf('same'), noContext),
    ).toThrow(RangeError);
    expect(() => clinicContribution([history], definition, (code) => code, noContext)).toThrow(/hexadecimal/);
  });
});

describe('the sheet of a clinic', () => {
  const definition = definitionWith({ smallestCell: 10 });
  const { sheet, records, leftOut } = clinicContribution(demo.study, definition, pseudonymOf, demoContext);
  const treatedOut = leftOut.filter(({ group }) => group === 'treated');
  const out = (...reasons: string[]): number =>
    treatedOut.filter(({ reason }) => reasons.includes(reason)).length;

  it('withholds small numbers, and with them the total from which they could be worked out', () => {
    expect(out('no-end')).toBeGreaterThan(0);
    expect(out('no-end')).toBeLessThan(10);
    expect(sheet.flow).toEqual({
      treated: null,
      contributed: records.filter(({ group }) => group === 'treated').length,
      withoutConsent: out('no-pooling-consent', 'no-follow-up-consent'),
      withoutEnd: null,
      withoutStart: 0,
      withoutAge: 0,
      outsideLimits: 0,
      tooFewAlike: 0,
    });
  });

  it('gives all of them where none is small', () => {
    const all = clinicContribution(demo.study, definitionWith({ smallestCell: 1 }), pseudonymOf, demoContext)
      .sheet.flow;
    expect(all.treated).toBe(120);
    const { treated, ...parts } = all;
    expect(Object.values(parts).reduce<number>((sum, part) => sum + (part ?? NaN), 0)).toBe(treated);
  });

  it('counts those who are too few alike where the study leaves them out', () => {
    const strict = clinicContribution(
      demo.study,
      definitionWith({ smallestCell: 1, coarsening: { smallGroups: 'leave-out' } }),
      pseudonymOf,
      demoContext,
    );
    const few = strict.leftOut.filter(({ reason }) => reason === 'too-few-alike');
    expect(few.length).toBeGreaterThan(0);
    expect(strict.sheet.flow.tooFewAlike).toBe(few.filter(({ group }) => group === 'treated').length);
    expect(strict.risk.inSmallGroups).toBe(0);
    expect(strict.risk.smallestGroup).toBeGreaterThanOrEqual(10);
  });

  it("has the method error of the contributed patients' duplicates", () => {
    const error = sheet.methodErrors.find(({ measure }) => measure === 'Co-Gn');
    expect(error).toMatchObject({ source: 'duplicates' });
    expect(error?.filmSd).not.toBeNull();
    expect(error?.pairs).toBeGreaterThan(25);
    expect(sheet.methodErrors.map(({ measure }) => measure)).toEqual(definition.measures);
  });
});

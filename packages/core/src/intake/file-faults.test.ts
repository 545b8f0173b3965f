import { describe, expect, it } from 'vitest';
import {
  EVENTS,
  EXAMPLE,
  MEASUREMENTS,
  PATIENTS,
  faultsOf,
  placesOf,
  text,
  withRows,
} from './example.fixture';
import { faultSchema, faultText, LISTED_FAULTS } from './faults';

const header = (edit: (line: string) => string) => withRows('patients', { 1: edit(PATIENTS[0] ?? '') });

describe('a file that cannot be read as a table', () => {
  it('is a fault when none is given, or when it is empty', () => {
    expect(placesOf({ patients: null, measurements: null, events: null })).toEqual([
      'nothing-given patients.csv:-:-=-',
    ]);
    for (const events of ['', '\uFEFF', ' \r\n\t\n']) {
      expect(placesOf({ ...EXAMPLE, events })).toEqual(['empty-file events.csv:-:-=-']);
    }
  });

  it('is one fault when its cells are separated by tabs', () => {
    const events = (EXAMPLE.events ?? '').replaceAll(',', '\t');
    expect(placesOf({ ...EXAMPLE, events })).toEqual([
      'wrong-separator events.csv:1:-=patient_code\tdate\tevent',
    ]);
  });

  it('is read up to a quotation mark that is not closed, and checked so far', () => {
    const broken = {
      3: 'U01,mal,2003-07-02,untreated,,,,,,yes,yes',
      4: 'S01,"male,,treated,BLOCK,,,,,no,no',
    };
    expect(placesOf(withRows('patients', broken))).toEqual([
      'unknown-word patients.csv:3:sex=mal',
      'broken-quotes patients.csv:4:-=male,,treated,BLOCK,,,,,no,no\n',
    ]);
  });

  it('names the cells that show a wrong encoding', () => {
    expect(
      placesOf(withRows('measurements', { 2: 'A01,start,2015-03-20,,Co-Gn,98.5,1,M\uFFFDller' })),
    ).toEqual(['wrong-encoding measurements.csv:2:examiner=M\uFFFDller']);
    const twoBytes = [...(EXAMPLE.events ?? '')].join('\0');
    expect(placesOf({ ...EXAMPLE, events: twoBytes })).toEqual([
      `wrong-encoding events.csv:1:-=${[...'patient_code'].join('\uFFFD')}\uFFFD`,
    ]);
  });
});

describe('a header', () => {
  it('must not have unknown, unnamed or doubled columns', () => {
    expect(
      placesOf(withRows('events', { 1: 'patient_code,date,event,note', 2: 'A01,2019-01-15,moved,x' })),
    ).toEqual(['unknown-column events.csv:1:note=note']);
    expect(
      placesOf(withRows('events', { 1: 'patient_code,date,event,', 2: 'A01,2019-01-15,moved,' })),
    ).toEqual(['unknown-column events.csv:1:-=-']);
    expect(
      placesOf(
        withRows('events', { 1: 'patient_code,date,event,date', 2: 'A01,2019-01-15,moved,2019-01-15' }),
      ),
    ).toEqual(['doubled-column events.csv:1:date=date']);
  });

  it('must have every column, and a misspelt one is met with the nearest name', () => {
    const faults = faultsOf(header((line) => line.replace('birth_date', 'birthdate')));
    expect(faults.map(({ kind, column }) => `${kind} ${column}`)).toEqual([
      'unknown-column birthdate',
      'missing-column birth_date',
    ]);
    expect(faults[0]?.message).toContain('birth_date');
  });

  it('must have visit_date or age_years in measurements.csv', () => {
    const lines = MEASUREMENTS.map((line) =>
      line
        .split(',')
        .filter((_, index) => index !== 2 && index !== 3)
        .join(','),
    );
    expect(placesOf({ ...EXAMPLE, measurements: text(lines) })).toEqual([
      'missing-column measurements.csv:1:visit_date=-',
    ]);
  });

  it('at fault does not keep the cells from being checked, nor make every patient unknown', () => {
    const lines = withRows('patients', {
      1: (PATIENTS[0] ?? '').replace('code,', 'patient,'),
      3: 'U01,boy,2003-07-02,untreated,,,,,,yes,yes',
    });
    expect(placesOf(lines)).toEqual([
      'unknown-column patients.csv:1:patient=patient',
      'missing-column patients.csv:1:code=-',
      'unknown-word patients.csv:3:sex=boy',
    ]);
  });
});

describe('rows', () => {
  it('must have as many cells as the header', () => {
    expect(placesOf(withRows('events', { 2: 'A01,2019-01-15', 3: 'A01,2019-01-15,moved,' }))).toEqual([
      'wrong-cell-count events.csv:2:-=-',
      'wrong-cell-count events.csv:3:-=-',
    ]);
  });

  it('are counted as an editor counts them, blank lines included', () => {
    const events = `\n${EVENTS[0]}\n\n,,\nA01,2019-01-15,left\n`;
    expect(placesOf({ ...EXAMPLE, events })).toEqual(['unknown-word events.csv:5:event=left']);
  });

  it('must not run over more than one line', () => {
    expect(placesOf(withRows('events', { 2: '"A01\n",2019-01-15,moved' }))).toEqual([
      'line-break-in-cell events.csv:2:patient_code=A01',
    ]);
  });
});

describe('faults', () => {
  it('of all files are told at once, in the order of files and rows', () => {
    const faults = faultsOf({
      patients: withRows('patients', { 4: 'S01,m,,treated,BLOCK,,,,,no,maybe' }).patients,
      measurements: withRows('measurements', { 2: 'A01,start,2015-03-20,,Co-Gn,985,1,ex1' }).measurements,
      events: withRows('events', { 2: 'A01,2019-02-30,moved' }).events,
    });
    expect(faults.map(({ file, row, column }) => `${file} ${row} ${column}`)).toEqual([
      'patients.csv 4 sex',
      'patients.csv 4 consent_pooling',
      'measurements.csv 2 value',
      'events.csv 2 date',
    ]);
    for (const fault of faults) expect(faultSchema.safeParse(fault).success).toBe(true);
  });

  it('become one sentence with place, value and what is allowed', () => {
    const [fault] = faultsOf(withRows('patients', { 3: 'U01,Male,2003-07-02,untreated,,,,,,yes,yes' }));
    expect(fault && faultText(fault)).toBe(
      'patients.csv, row 3, column sex: "Male": this is not a word of this column; the nearest is male. Allowed: female, male.',
    );
  });

  it('beyond a thousand are counted by file, not listed', () => {
    const rows = Array.from({ length: 3000 }, (_, index) => `A01,2019-01-15,gone${index}`);
    const faults = faultsOf({ ...EXAMPLE, events: text([EVENTS[0] ?? '', ...rows]) });
    expect(faults).toHaveLength(LISTED_FAULTS + 1);
    expect(faults.at(-1)).toMatchObject({ kind: 'more-faults', file: 'events.csv', row: null });
    expect(faults.at(-1)?.message).toContain('2,000 more faults');
  });

  it('show no more than the beginning of a long value', () => {
    const [fault] = faultsOf(withRows('events', { 2: `A01,2019-01-15,${'x'.repeat(5000)}` }));
    expect(fault?.value).toHaveLength(80);
  });
});

import { describe, expect, it } from 'vitest';
import { MEASURES } from '../measures/catalogue';
import {
  EXAMPLE,
  EVENTS,
  faultsOf,
  MEASUREMENTS,
  PATIENTS,
  placesOf,
  studyOf,
  text,
  withRows,
} from './example.fixture';

/** Row 2 of a file with the cell of one column replaced. */
function withCell(file: 'patients' | 'measurements' | 'events', column: string, value: string) {
  const [names = '', first = ''] = { patients: PATIENTS, measurements: MEASUREMENTS, events: EVENTS }[file];
  const cells = first.split(',');
  cells[names.split(',').indexOf(column)] = value;
  return withRows(file, { 2: cells.join(',') });
}

describe('a cell of patients.csv', () => {
  it.each([
    ['code', 'A 01', 'wrong-form'],
    ['code', '', 'missing-value'],
    ['sex', 'F', 'unknown-word'],
    ['sex', 'Female', 'unknown-word'],
    ['sex', '', 'missing-value'],
    ['birth_date', '10.03.2004', 'wrong-form'],
    ['birth_date', '2005-02-29', 'wrong-form'],
    ['group', 'control', 'unknown-word'],
    ['protocol', '#1', 'wrong-form'],
    ['expansion', 'true', 'unknown-word'],
    ['maturity_start', 'CS7', 'unknown-word'],
    ['treatment_start', '2015-4-1', 'wrong-form'],
    ['active_end', '2016-05-20T00:00', 'wrong-form'],
    ['consent_follow_up', '', 'missing-value'],
    ['consent_pooling', 'Yes', 'unknown-word'],
  ])('%s refuses "%s" as %s', (column, value, kind) => {
    const places = placesOf({ ...withCell('patients', column, value), measurements: null, events: null });
    expect(places).toEqual([`${kind} patients.csv:2:${column}=${value === '' ? '-' : value}`]);
  });

  it('at fault is named there and not again at the measurements of that patient', () => {
    expect(placesOf(withCell('patients', 'sex', 'F'))).toEqual(['unknown-word patients.csv:2:sex=F']);
  });
});

describe('a cell of measurements.csv', () => {
  it.each([
    ['patient_code', 'A02', 'unknown-patient'],
    ['visit_kind', 'followup', 'unknown-word'],
    ['visit_date', '2015/03/20', 'wrong-form'],
    ['age_years', 'eleven', 'not-a-number'],
    ['age_years', '110', 'out-of-range'],
    ['measure', 'CoGn', 'unknown-measure'],
    ['value', '', 'missing-value'],
    ['value', '98.5mm', 'not-a-number'],
    ['value', '9.8.5', 'not-a-number'],
    ['value', '985', 'out-of-range'],
    ['value', '1e999', 'out-of-range'],
    ['replicate', '0', 'out-of-range'],
    ['replicate', '100', 'out-of-range'],
    ['replicate', '1.5', 'not-a-number'],
    ['replicate', '', 'missing-value'],
    ['examiner', '=1+1', 'wrong-form'],
  ])('%s refuses "%s" as %s', (column, value, kind) => {
    const shown = value === '' ? '-' : value === '1e999' ? 'Infinity' : value;
    expect(placesOf(withCell('measurements', column, value))).toContain(
      `${kind} measurements.csv:2:${column}=${shown}`,
    );
  });

  it('accepts the limits of what is plausible and refuses what lies just outside, naming the limits', () => {
    expect(placesOf(withCell('measurements', 'value', '170'))).toEqual([]);
    const [fault] = faultsOf(withCell('measurements', 'value', '170.1'));
    expect(fault?.allowed).toBe('60 to 170 mm for Co-Gn');
  });

  it('with a decimal comma is met with the number as it should be written', () => {
    const decimal = withRows('measurements', { 2: 'A01,start,2015-03-20,,Co-Gn,"98,5",1,ex1' });
    expect(placesOf(decimal)).toEqual(['decimal-comma measurements.csv:2:value=98,5']);
    expect(faultsOf(decimal)[0]?.allowed).toContain('98.5');
    const semicolons = (EXAMPLE.measurements ?? '').replaceAll(',', ';').replaceAll('.', ',');
    expect(
      faultsOf({ ...EXAMPLE, measurements: semicolons }).every(({ kind }) => kind === 'decimal-comma'),
    ).toBe(true);
  });

  it('with an unknown measure is met with all codes of the catalogue and the nearest one', () => {
    const [fault] = faultsOf(withCell('measurements', 'measure', 'co-gm'));
    for (const { code } of MEASURES) expect(fault?.allowed).toContain(code);
    expect(fault?.message).toContain('the nearest is Co-Gn');
  });

  it('must be there for a date or an age', () => {
    expect(placesOf(withCell('measurements', 'visit_date', ''))).toEqual([
      'missing-value measurements.csv:2:visit_date=-',
    ]);
  });

  it('does not hide another fault of its row', () => {
    const row = { 2: 'A01,begin,20-03-2015,,CoGn,"98,5",one,;' };
    expect(faultsOf(withRows('measurements', row)).map(({ column }) => column)).toEqual([
      'visit_kind',
      'visit_date',
      'measure',
      'value',
      'replicate',
      'examiner',
    ]);
  });
});

/** The example with `film`, `film_factor` and `film_factor_evidence` at the end of each row, by row as counted in a spreadsheet. */
function withFilms(cells: Readonly<Record<number, string>>) {
  const [header = '', ...rows] = MEASUREMENTS;
  const filled = rows.map((row, index) => `${row},${cells[index + 2] ?? ',,'}`);
  const measurements = text([`${header},film,film_factor,film_factor_evidence`, ...filled]);
  return { ...EXAMPLE, measurements };
}

describe('what measurements.csv says of films', () => {
  it.each([
    ['0,,', 'out-of-range', 'film=0'],
    ['10,,', 'out-of-range', 'film=10'],
    ['1.5,,', 'not-a-number', 'film=1.5'],
    [',0.4,', 'out-of-range', 'film_factor=0.4'],
    [',1.2,', 'out-of-range', 'film_factor=1.2'],
    [',8 %,', 'not-a-number', 'film_factor=8 %'],
    [',0.912,ruler', 'unknown-word', 'film_factor_evidence=ruler'],
    [',,ruler_on_film', 'missing-value', 'film_factor=-'],
  ])('is refused where a cell holds "%s"', (cells, kind, place) => {
    expect(placesOf(withFilms({ 2: cells }))).toEqual([`${kind} measurements.csv:2:${place}`]);
  });

  it('may stand in any row of a visit and goes for all of them', () => {
    const [history] = studyOf(withFilms({ 3: '2,0.912,apparatus_distances', 5: ',1,' }));
    expect(
      history?.visits.map(({ filmFactor, filmFactorEvidence }) => [filmFactor, filmFactorEvidence]),
    ).toEqual([
      [0.912, 'apparatus_distances'],
      [null, null],
      [1, null],
    ]);
    expect(history?.visits[0]?.measurements.map(({ film }) => film)).toEqual([1, 2]);
  });

  it('is a fault where two rows give one visit two factors or two grounds for one', () => {
    expect(placesOf(withFilms({ 2: ',0.912,', 3: ',0.92,' }))).toEqual([
      'contradicting-factor measurements.csv:3:film_factor=0.92',
    ]);
    const grounds = withFilms({ 2: ',0.912,ruler_on_film', 3: ',0.912,calibrated_image' });
    expect(placesOf(grounds)).toEqual([
      'contradicting-factor measurements.csv:3:film_factor_evidence=calibrated_image',
    ]);
  });

  it('tells a reading of a second film from the same reading of the first', () => {
    const [header = '', first = ''] = MEASUREMENTS;
    const rows = (film: string) => text([`${header},film`, `${first},`, `${first},${film}`]);
    expect(placesOf({ ...EXAMPLE, measurements: rows('2') })).toEqual([]);
    expect(placesOf({ ...EXAMPLE, measurements: rows('1') })).toEqual([
      'doubled-measurement measurements.csv:3:replicate=1',
    ]);
  });
});

describe('a cell of events.csv', () => {
  it.each([
    ['patient_code', 'A02', 'unknown-patient'],
    ['date', '', 'missing-value'],
    ['date', '2019-13-01', 'wrong-form'],
    ['event', 'died', 'unknown-word'],
  ])('%s refuses "%s" as %s', (column, value, kind) => {
    expect(placesOf(withCell('events', column, value))).toEqual([
      `${kind} events.csv:2:${column}=${value === '' ? '-' : value}`,
    ]);
  });
});

describe('rows that are there twice', () => {
  it('are faults that name the first row', () => {
    const twice = {
      patients: text([
        ...PATIENTS,
        'A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,2016-05-20,yes,no',
      ]),
      measurements: text([...MEASUREMENTS, 'A01,start,2015-03-20,,Co-Gn,98.6,2,ex1']),
      events: text([...EVENTS, 'A01,2019-01-15,moved']),
    };
    expect(placesOf(twice)).toEqual([
      'doubled-patient patients.csv:5:code=A01',
      'doubled-measurement measurements.csv:9:replicate=2',
      'doubled-event events.csv:3:event=moved',
    ]);
    expect(faultsOf(twice).map(({ message }) => /row \d+/.exec(message)?.[0])).toEqual([
      'row 2',
      'row 3',
      'row 2',
    ]);
  });

  it('are no faults when another examiner took the reading or another thing happened that day', () => {
    const measurements = text([...MEASUREMENTS, 'A01,start,2015-03-20,,Co-Gn,98.6,2,ex2']);
    const events = text([...EVENTS, 'A01,2019-01-15,withdrew']);
    expect(placesOf({ ...EXAMPLE, measurements, events })).toEqual([]);
  });
});

import { describe, expect, it } from 'vitest';
import {
  EXAMPLE,
  faultsOf,
  MEASUREMENTS,
  PATIENTS,
  placesOf,
  studyOf,
  text,
  withRows,
} from './example.fixture';

describe('the dates of a patient', () => {
  it('must be in order: birth, start, end of active treatment', () => {
    const birth = { 2: 'A01,female,2015-04-01,treated,PLATE,yes,CS3,2015-04-01,2016-05-20,yes,no' };
    const alone = { measurements: null, events: null };
    expect(placesOf({ ...withRows('patients', birth), ...alone })).toEqual([
      'wrong-order patients.csv:2:treatment_start=2015-04-01',
    ]);
    const end = { 2: 'A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,2015-04-01,yes,no' };
    expect(placesOf({ ...withRows('patients', end), ...alone })).toEqual([
      'wrong-order patients.csv:2:active_end=2015-04-01',
    ]);
    const noStart = { 4: 'S01,male,2004-03-10,treated,BLOCK,,,,2003-01-01,no,no' };
    expect(placesOf({ ...withRows('patients', noStart), ...alone })).toEqual([
      'missing-value patients.csv:4:treatment_start=-',
      'wrong-order patients.csv:4:active_end=2003-01-01',
    ]);
  });

  it('must be empty, as protocol and expansion must, for untreated patients', () => {
    const row = { 3: 'U01,male,2003-07-02,untreated,PLATE,no,,2014-01-01,2015-01-01,yes,yes' };
    expect(placesOf(withRows('patients', row)).slice(0, 4)).toEqual([
      'must-be-empty patients.csv:3:protocol=PLATE',
      'must-be-empty patients.csv:3:expansion=no',
      'must-be-empty patients.csv:3:treatment_start=2014-01-01',
      'must-be-empty patients.csv:3:active_end=2015-01-01',
    ]);
  });

  it('must come with a protocol for treated patients', () => {
    expect(placesOf(withRows('patients', { 4: 'S01,male,,treated,,,,,,no,no' }))).toEqual([
      'missing-value patients.csv:4:protocol=-',
    ]);
  });
});

describe('the age at a visit', () => {
  it('must be known: from birth date and visit date, or as recorded', () => {
    expect(placesOf(withRows('measurements', { 7: 'S01,start,2015-03-20,,ANB,6.5,1,' }))).toEqual([
      'age-unknown measurements.csv:7:visit_date=2015-03-20',
    ]);
    expect(placesOf(withRows('measurements', { 7: 'S01,start,2015-03-20,9.5,ANB,6.5,1,' }))).toEqual([]);
  });

  // 2003-07-02 to 2013-07-01 are 3652 days, 9.9986 years of 365.25 days.
  it('must agree with the dates within a tenth of a year', () => {
    const aged = (age: string) =>
      withRows('measurements', { 6: `U01,follow_up,2013-07-01,${age},Co-Gn,95.5,1,` });
    expect(placesOf(aged('9.9'))).toEqual([]);
    expect(placesOf(aged('10.0986'))).toEqual([]);
    expect(placesOf(aged('10.099'))).toEqual(['age-disagrees measurements.csv:6:age_years=10.099']);
    expect(faultsOf(aged('9.89'))[0]?.message).toContain('10.00 years old on 2013-07-01');
  });

  it('must lie between birth and a hundred years', () => {
    const born = (date: string) => withRows('measurements', { 6: `U01,follow_up,${date},,Co-Gn,95.5,1,` });
    expect(placesOf(born('2003-07-01'))).toEqual(['wrong-order measurements.csv:6:visit_date=2003-07-01']);
    expect(placesOf(born('2103-07-10'))).toEqual(['out-of-range measurements.csv:6:visit_date=2103-07-10']);
  });
});

describe('visits', () => {
  const dated = (row: number, date: string) => {
    const cells = (MEASUREMENTS[row - 1] ?? '').split(',');
    cells[2] = date;
    return withRows('measurements', { [row]: cells.join(',') });
  };

  it('of kind start are not after the end of active treatment', () => {
    const rows = (date: string) => text([MEASUREMENTS[0] ?? '', `A01,start,${date},,Co-Gn,98.5,1,ex1`]);
    expect(placesOf({ ...EXAMPLE, measurements: rows('2016-05-20') })).toEqual([]);
    expect(placesOf({ ...EXAMPLE, measurements: rows('2016-05-21') })).toEqual([
      'wrong-order measurements.csv:2:visit_date=2016-05-21',
    ]);
  });

  it('of kind follow_up are not before the end of active treatment nor before its visit', () => {
    expect(placesOf(dated(5, '2016-05-19'))).toEqual([
      'wrong-order measurements.csv:5:visit_date=2016-05-19',
    ]);
    expect(placesOf(dated(5, '2016-06-01'))).toEqual([
      'wrong-order measurements.csv:5:visit_date=2016-06-01',
    ]);
    expect(placesOf(dated(5, '2016-06-02'))).toEqual([]);
  });

  it('of kind end_of_active come after treatment began and after the start visit', () => {
    expect(placesOf(dated(4, '2015-04-01'))).toEqual([
      'wrong-order measurements.csv:4:visit_date=2015-04-01',
    ]);
    const late = withRows('measurements', {
      2: 'A01,start,2016-05-10,,Co-Gn,98.5,1,ex1',
      3: 'A01,start,2016-05-10,,Co-Gn,98.9,2,ex1',
      4: 'A01,end_of_active,2016-05-01,,Co-Gn,106.25,1,ex1',
    });
    expect(placesOf(late)).toEqual(['wrong-order measurements.csv:4:visit_date=2016-05-01']);
  });

  it('with ages only are put in order by age', () => {
    expect(placesOf(withRows('measurements', { 8: 'S01,end_of_active,,9.5,ANB,3.5,1,' }))).toEqual([
      'wrong-order measurements.csv:8:age_years=9.5',
    ]);
  });

  it('of kind start and end_of_active happen once', () => {
    expect(placesOf(dated(3, '2015-03-21'))).toEqual([
      'second-visit measurements.csv:3:visit_date=2015-03-21',
    ]);
    expect(faultsOf(dated(3, '2015-03-21'))[0]?.message).toContain('2015-03-20 in row 2');
    const twoAges = [...MEASUREMENTS, 'S01,start,,9.6,SNB,75,1,'];
    expect(placesOf({ ...EXAMPLE, measurements: text(twoAges) })).toEqual([
      'second-visit measurements.csv:9:age_years=9.6',
    ]);
  });

  it('of untreated patients are start or follow_up, the latter as often as they came', () => {
    const more = ['U01,start,2012-07-01,,Co-Gn,93,1,', 'U01,follow_up,2014-07-01,,Co-Gn,98,1,'];
    expect(placesOf({ ...EXAMPLE, measurements: text([...MEASUREMENTS, ...more]) })).toEqual([]);
    expect(placesOf(withRows('measurements', { 6: 'U01,end_of_active,2013-07-01,,Co-Gn,95.5,1,' }))).toEqual([
      'wrong-visit-kind measurements.csv:6:visit_kind=end_of_active',
    ]);
  });

  it('after the start need an end of active treatment where treatment has dates', () => {
    const going = { 2: 'A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,,yes,no' };
    expect(placesOf(withRows('patients', going))).toEqual([
      'wrong-visit-kind measurements.csv:4:visit_kind=end_of_active',
      'wrong-visit-kind measurements.csv:5:visit_kind=follow_up',
    ]);
  });
});

describe('events', () => {
  it('are not before the start of active treatment', () => {
    expect(placesOf(withRows('events', { 2: 'A01,2015-03-31,declined' }))).toEqual([
      'wrong-order events.csv:2:date=2015-03-31',
    ]);
    expect(placesOf(withRows('events', { 2: 'A01,2015-04-01,declined' }))).toEqual([]);
  });

  it('of untreated patients are not before birth', () => {
    expect(placesOf(withRows('events', { 2: 'U01,2003-07-01,moved' }))).toEqual([
      'wrong-order events.csv:2:date=2003-07-01',
    ]);
  });
});

describe('what the files say against the store', () => {
  const stored = studyOf(EXAMPLE);
  const only = (row: string) => ({
    patients: text([PATIENTS[0] ?? '', row]),
    measurements: null,
    events: null,
  });

  it('is a fault at the row that denies what is stored', () => {
    const laterEnd = only('A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,2018-06-11,yes,no');
    expect(placesOf(laterEnd, stored)).toEqual(['wrong-order patients.csv:2:active_end=2018-06-11']);
    const ended = only('S01,male,,untreated,,,,,,no,no');
    expect(placesOf(ended, stored)).toEqual(['wrong-visit-kind patients.csv:2:group=untreated']);
    const goingOn = only('A01,female,2004-03-10,treated,PLATE,yes,CS3,2015-04-01,,yes,no');
    expect(placesOf(goingOn, stored)).toEqual([
      'wrong-visit-kind patients.csv:2:active_end=-',
      'wrong-visit-kind patients.csv:2:active_end=-',
    ]);
    const unborn = only('U01,male,,untreated,,,,,,yes,yes');
    expect(placesOf(unborn, stored)).toEqual([]);
    const younger = only('U01,male,2004-07-02,untreated,,,,,,yes,yes');
    expect(placesOf(younger, stored)).toEqual(['age-disagrees patients.csv:2:birth_date=2004-07-02']);
  });

  it('is a fault at the visit that denies a stored patient', () => {
    const measurements = text([MEASUREMENTS[0] ?? '', 'A01,follow_up,2016-05-01,,Co-Gn,110,1,']);
    expect(placesOf({ patients: null, measurements, events: null }, stored)).toEqual([
      'wrong-order measurements.csv:2:visit_date=2016-05-01',
    ]);
  });

  it('says that a code is neither in the files nor in the store', () => {
    const measurements = text([MEASUREMENTS[0] ?? '', 'Z99,start,2016-05-01,,Co-Gn,110,1,']);
    const [fault] = faultsOf({ patients: null, measurements, events: null }, stored);
    expect(fault).toMatchObject({ kind: 'unknown-patient', row: 2, value: 'Z99' });
    expect(fault?.message).toContain('or in the store');
  });
});

import { describe, expect, it } from 'vitest';
import { changeCountsSchema, changeTotal } from './changes';
import type { Study } from '../records/history';
import { EVENTS, EXAMPLE, MEASUREMENTS, PATIENTS, placesOf, studyOf, text } from './example.fixture';
import { mergeStudy } from './merge-study';

const stored = studyOf(EXAMPLE);
const NOTHING = { patients: null, measurements: null, events: null };
const nothing = { added: 0, changed: 0, unchanged: 0 };

function laidOver(files: { patients?: string[]; measurements?: string[]; events?: string[] }) {
  const rows = (header: string | undefined, lines?: string[]) =>
    lines ? text([header ?? '', ...lines]) : null;
  const incoming = studyOf(
    {
      patients: rows(PATIENTS[0], files.patients),
      measurements: rows(MEASUREMENTS[0], files.measurements),
      events: rows(EVENTS[0], files.events),
    },
    stored,
  );
  return mergeStudy(stored, incoming);
}

describe('an import laid over the store', () => {
  it('adds everything to an empty store', () => {
    const { changes, touched, conflicts } = mergeStudy([], stored);
    expect(changes).toEqual({
      patients: { added: 3, changed: 0, unchanged: 0 },
      visits: { added: 6, changed: 0, unchanged: 0 },
      measurements: { added: 7, changed: 0, unchanged: 0 },
      events: { added: 1, changed: 0, unchanged: 0 },
      growthTables: nothing,
    });
    expect(changeCountsSchema.safeParse(changes).success).toBe(true);
    expect(touched.map(({ code, before }) => [code, before])).toEqual([
      ['A01', null],
      ['U01', null],
      ['S01', null],
    ]);
    expect(touched.map(({ after }) => after)).toEqual(stored);
    expect(conflicts).toEqual([]);
  });

  it('changes nothing the second time', () => {
    const { changes, touched } = mergeStudy(stored, studyOf(EXAMPLE, stored));
    expect(changeTotal(changes)).toBe(0);
    expect(changes).toEqual({
      patients: { ...nothing, unchanged: 3 },
      visits: { ...nothing, unchanged: 6 },
      measurements: { ...nothing, unchanged: 7 },
      events: { ...nothing, unchanged: 1 },
      growthTables: nothing,
    });
    expect(touched).toEqual([]);
  });

  it('removes nothing that the files leave out', () => {
    const { touched } = laidOver({ measurements: ['A01,follow_up,2020-06-10,,Co-Gn,111,1,'] });
    const after = touched[0]?.after;
    expect(after?.visits).toHaveLength(4);
    expect(after?.visits.slice(0, 3)).toEqual(stored[0]?.visits);
    expect(after?.events).toEqual(stored[0]?.events);
    expect(touched).toHaveLength(1);
  });

  it('takes a row of patients.csv as the whole patient, so that an emptied cell is a change', () => {
    const { changes, touched } = laidOver({ patients: ['S01,male,,treated,BLOCK,no,CS2,,,yes,no'] });
    expect(changes.patients).toEqual({ ...nothing, changed: 1 });
    expect(touched[0]?.after.patient).toMatchObject({ expansion: false, consentFollowUp: true });
    expect(touched[0]?.before).toEqual(stored[2]);
    const emptied = laidOver({
      patients: ['A01,female,2004-03-10,treated,PLATE,,,2015-04-01,2016-05-20,yes,no'],
    });
    expect(emptied.touched[0]?.after.patient).toMatchObject({ expansion: null, maturityStart: null });
  });

  it('moves a start visit that has another date, and adds a follow-up that has one', () => {
    const start = laidOver({ measurements: ['A01,start,2015-03-21,,Co-Gn,98.5,1,ex1'] });
    expect(start.changes.visits).toEqual({ ...nothing, changed: 1 });
    expect(start.changes.measurements).toEqual({ ...nothing, unchanged: 1 });
    expect(start.touched[0]?.after.visits[0]).toEqual({ ...stored[0]?.visits[0], date: '2015-03-21' });
    const followUp = laidOver({ measurements: ['A01,follow_up,2018-06-11,,Co-Gn,110,1,'] });
    expect(followUp.changes.visits).toEqual({ ...nothing, added: 1 });
  });

  it('keeps the age of a visit when only its date is given', () => {
    const { changes } = laidOver({ measurements: ['U01,follow_up,2013-07-01,,Co-Gn,95.5,1,'] });
    expect(changeTotal(changes)).toBe(0);
  });

  it('changes a reading by visit, measure, examiner and replicate', () => {
    const { changes, touched } = laidOver({
      measurements: [
        'A01,start,2015-03-20,,Co-Gn,99,2,ex1',
        'A01,start,2015-03-20,,Co-Gn,99,1,ex2',
        'A01,start,2015-03-20,,Co-Gn,98.5,1,ex1',
      ],
    });
    expect(changes.measurements).toEqual({ added: 1, changed: 1, unchanged: 1 });
    expect(touched[0]?.after.visits[0]?.measurements.map(({ value }) => value)).toEqual([98.5, 99, 99]);
  });

  it('lays a film factor over a visit with its own evidence, and removes none that it leaves out', () => {
    const header = `${MEASUREMENTS[0]},film_factor,film_factor_evidence`;
    const reading = 'A01,start,2015-03-20,,Co-Gn,98.5,1,ex1';
    const layOver = (before: Study, cells: string) => {
      const measurements = text([header, `${reading},${cells}`]);
      return mergeStudy(before, studyOf({ ...NOTHING, measurements }, before));
    };
    const known = layOver(stored, '0.912,apparatus_distances');
    expect(known.changes.visits).toEqual({ ...nothing, changed: 1 });
    expect(known.changes.measurements).toEqual({ ...nothing, unchanged: 1 });
    const after = known.touched.map((touched) => touched.after);
    expect(changeTotal(layOver(after, ',').changes)).toBe(0);
    expect(changeTotal(layOver(after, '0.912,').changes)).toBe(0);
    const other = layOver(after, '1,').touched[0]?.after.visits[0];
    expect(other).toMatchObject({ filmFactor: 1, filmFactorEvidence: null });
    const grounds = layOver(after, ',ruler_on_film').touched[0]?.after.visits[0];
    expect(grounds).toMatchObject({ filmFactor: 0.912, filmFactorEvidence: 'ruler_on_film' });
    expect(
      placesOf({ ...NOTHING, measurements: text([header, `${reading},,ruler_on_film`]) }, stored),
    ).toEqual(['missing-value measurements.csv:2:film_factor=-']);
  });

  it('adds an event unless it is there already', () => {
    const { changes } = laidOver({ events: ['A01,2019-01-15,moved', 'A01,2019-01-15,declined'] });
    expect(changes.events).toEqual({ added: 1, changed: 0, unchanged: 1 });
  });

  it('leaves what was there before as it was', () => {
    const before = structuredClone(stored);
    laidOver({ measurements: ['A01,start,2015-03-21,,Co-Gn,99,1,ex1'], events: ['A01,2020-01-15,declined'] });
    expect(stored).toEqual(before);
  });

  it('tells of contradictions between the two, without row numbers', () => {
    const [history] = stored;
    if (history === undefined) throw new Error('the example has a first patient');
    const moved = { patient: { ...history.patient, activeEnd: '2019-01-01' }, visits: [], events: [] };
    const [fault] = mergeStudy(stored, [moved]).conflicts;
    expect(fault).toMatchObject({
      kind: 'wrong-order',
      file: 'measurements.csv',
      row: null,
      value: '2018-06-10',
    });
    expect(fault?.message).toContain('patient A01');
  });
});

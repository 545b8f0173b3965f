import type { PooledRecord } from '@longhold/core/contribution';
import { describe, expect, it } from 'vitest';
import { compareRecords, recordFields } from './record-fields';

const RECORD: PooledRecord = {
  pseudonym: '0123456789abcdef0123456789abcdef',
  group: 'treated',
  sex: 'female',
  ageMonths: 151,
  protocol: 'PLATE',
  expansion: true,
  maturityStart: 'CS3',
  yearsPassed: 7,
  visits: [
    {
      kind: 'follow_up',
      day: 371,
      values: [{ measure: 'Co-Gn', value: 113.25, films: 2, readings: 4, magnification: 'by-factor' }],
    },
    { kind: 'follow_up', day: 371, values: [] },
  ],
  events: [{ event: 'moved', day: 777 }],
};

const shown = (record: PooledRecord): string =>
  recordFields(record)
    .map(({ name, value }) => `${name}: ${value}`)
    .join('\n')
    .replaceAll('\u00a0', ' ');

describe('a record as it will leave', () => {
  it('is shown with everything that it holds', () => {
    expect(shown(RECORD)).toBe(
      [
        'Pseudonym: 0123456789abcdef0123456789abcdef',
        'Group: Treated',
        'Sex: Female',
        'Age at day 0: 151 months',
        'Protocol: PLATE',
        'Upper jaw widened: Yes',
        'Maturity at the start: CS3',
        'Years of follow-up that have passed: 7',
        'Day 371: Follow-up',
        'Day 371, Co-Gn: 113.25 mm (2 films, 4 readings, natural size by the factor of the film)',
        'Day 371 (2): Follow-up',
        'Event on day 777: Moved away',
      ].join('\n'),
    );
  });

  it('says of what was taken away that it is not given', () => {
    const text = shown({ ...RECORD, protocol: null, expansion: null, maturityStart: null });
    expect(text.match(/Not given/g)).toHaveLength(3);
  });
});

describe('two versions of a record', () => {
  it('differ only where one says something else than the other', () => {
    const rows = compareRecords(RECORD, { ...RECORD, ageMonths: 154, events: [] });
    expect(rows.filter(({ differs }) => differs)).toEqual([
      { name: 'Age at day 0', first: '151\u00a0months', second: '154\u00a0months', differs: true },
      { name: 'Event on day 777', first: 'Moved away', second: null, differs: true },
    ]);
    expect(compareRecords(RECORD, RECORD).some(({ differs }) => differs)).toBe(false);
  });

  it('show what only the second one has', () => {
    const rows = compareRecords({ ...RECORD, visits: [] }, RECORD);
    expect(rows.filter(({ first }) => first === null).map(({ name }) => name)).toEqual([
      'Day 371',
      'Day 371, Co-Gn',
      'Day 371 (2)',
    ]);
  });
});

import { describe, expect, it } from 'vitest';
import type { RecallRow } from '../state/host';
import { lateWords, recallSentence } from './recall-list';

function row(code: string, state: RecallRow['state'], protocol: string | null = 'PLATES'): RecallRow {
  return {
    code,
    sex: 'female',
    protocol,
    ageNow: 14.2,
    activeEnd: '2022-01-01',
    lastVisit: null,
    dueDate: null,
    dueYear: null,
    windowOpens: null,
    windowCloses: null,
    state,
    monthsLate: null,
    why: null,
  };
}

describe('the recall list', () => {
  it('is summed up in one sentence', () => {
    const counts = { due: 14, overdue: 9, lost: 3, upcoming: 0, complete: 0, stopped: 0 };
    expect(recallSentence({ counts, rows: [row('P-1', 'due')] })).toBe(
      '14\u00a0patients are due, 9 overdue, 3 lost to follow-up.',
    );
    expect(recallSentence({ counts: { ...counts, due: 1 }, rows: [row('P-1', 'due')] })).toContain(
      '1\u00a0patient is due',
    );
    expect(recallSentence({ counts, rows: [] })).toBe('There are no treated patients to recall yet.');
  });

  it('says how late only where something is late', () => {
    expect(lateWords(2.9)).toBe('2\u00a0months');
    expect(lateWords(0.2)).toBe('under a month');
    expect(lateWords(null)).toBe('\u2013');
  });
});

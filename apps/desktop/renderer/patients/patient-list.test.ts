import { describe, expect, it } from 'vitest';
import type { PatientRow } from '../state/host';
import { countVerdicts, whyWords } from './patient-list';

function row(code: string, changes: Partial<PatientRow> = {}): PatientRow {
  return {
    code,
    sex: 'female',
    protocol: 'PLATES',
    expansion: null,
    gain: 3.1,
    share: 0.8,
    verdict: 'held',
    reason: null,
    lastYears: 4,
    leftOut: null,
    ...changes,
  };
}

describe('the list of patients', () => {
  it('counts each status', () => {
    const counts = countVerdicts([row('P-1'), row('P-2', { verdict: 'lost' }), row('Q-1')]);
    expect([...counts]).toEqual([
      ['held', 2],
      ['lost', 1],
    ]);
  });

  it('says why a patient has no verdict', () => {
    expect(whyWords(row('P-3', { verdict: 'cannot-tell', reason: 'growth' }))).toContain('growth');
    expect(whyWords(row('P-4', { verdict: 'no-follow-up', leftOut: 'no-follow-up' }))).toBe('');
    expect(whyWords(row('P-6', { leftOut: 'no-start-value' }))).toBe('no value at the start');
    expect(whyWords(row('P-5'))).toBe('');
  });
});

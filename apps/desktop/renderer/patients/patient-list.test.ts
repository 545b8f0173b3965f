import { describe, expect, it } from 'vitest';
import type { PatientRow } from '../state/host';
import { countVerdicts, filterPatients, whyWords } from './patient-list';

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
  const rows = [row('P-1'), row('P-2', { verdict: 'lost' }), row('Q-1', { protocol: 'BLOCKS' })];

  it('is filtered by status and text', () => {
    expect(filterPatients(rows, 'held', '').map(({ code }) => code)).toEqual(['P-1', 'Q-1']);
    expect(filterPatients(rows, null, 'bloc').map(({ code }) => code)).toEqual(['Q-1']);
    expect(countVerdicts(rows).get('held')).toBe(2);
  });

  it('says why a patient has no verdict', () => {
    expect(whyWords(row('P-3', { verdict: 'cannot-tell', reason: 'growth' }))).toContain('growth');
    expect(whyWords(row('P-4', { verdict: 'no-follow-up', leftOut: 'no-follow-up' }))).toBe('');
    expect(whyWords(row('P-6', { leftOut: 'no-start-value' }))).toBe('no value at the start');
    expect(whyWords(row('P-5'))).toBe('');
    expect(whyWords(row('P-6', { leftOut: 'no-start-value' }))).toBe('no value at the start');
  });
});

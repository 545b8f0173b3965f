import { describe, expect, it } from 'vitest';
import type { Withdrawal } from '../../state/host';
import { receiptText } from './receipt-text';

const LINK = { address: 'https://pool.example', study: 'study-1', member: 'member-1' };
const WITHDRAWAL: Withdrawal = {
  pseudonym: '0123456789abcdef0123456789abcdef',
  code: 'P-7',
  reason: 'asked-for',
  askedAt: '2026-03-04T10:00:00Z',
  pending: false,
  receipt: { id: 'receipt-1', sequence: 41, versionsRemoved: 3, patients: null, month: '2026-03' },
};

describe('a receipt for a withdrawal', () => {
  it('holds what the service gave, and who was meant', () => {
    const text = receiptText(WITHDRAWAL, LINK);
    for (const fact of [
      'receipt-1',
      '41',
      '2026-03',
      '3',
      'P-7',
      'https://pool.example',
      'study-1',
      'member-1',
    ])
      expect(text).toContain(fact);
  });

  it('of a patient who was counted in statistics says with how many others', () => {
    const receipt = { id: 'receipt-2', sequence: 42, versionsRemoved: null, patients: 4, month: '2026-03' };
    const text = receiptText({ ...WITHDRAWAL, receipt }, LINK);
    expect(text).toContain('taken out of the clinic’s statistics together, this one among them: 4');
    expect(text).not.toContain('Versions');
  });

  it('is not made up while the service has given none', () => {
    expect(receiptText({ ...WITHDRAWAL, receipt: null }, LINK)).toBe('');
  });
});

import { describe, expect, it } from 'vitest';
import { changeQuery, parseAddress, writeAddress } from './address';

describe('the address of a screen', () => {
  it('survives writing and reading, whatever the patient is called', () => {
    const query = new URLSearchParams({ measure: 'Co-Gn', threshold: '75%' });
    const hash = writeAddress({ screen: 'patients', code: 'A/1?b', query });
    expect(hash).toBe('#/patients/A%2F1%3Fb?measure=Co-Gn&threshold=75%25');
    const address = parseAddress(hash);
    expect(address.code).toBe('A/1?b');
    expect(address.query.get('threshold')).toBe('75%');
  });

  it('leads to Recall when it names no screen', () => {
    expect(parseAddress('').screen).toBe('recall');
    expect(parseAddress('#/nowhere/x').screen).toBe('recall');
    expect(parseAddress('#/outcomes').screen).toBe('outcomes');
  });

  it('is not broken by a code that cannot be decoded', () => {
    expect(parseAddress('#/patients/%E0%A4%A').code).toBe('%E0%A4%A');
  });

  it('drops values that are taken away', () => {
    const query = changeQuery(new URLSearchParams('state=due&page=3'), { page: null, text: 'P-1' });
    expect(query.toString()).toBe('state=due&text=P-1');
  });
});

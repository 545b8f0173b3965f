import { describe, expect, it } from 'vitest';
import { faultAt } from './field-faults';

describe('a form for a store', () => {
  it('shows a failure at the field it belongs to and nowhere else', () => {
    const failure = { reason: 'wrong-passphrase', message: 'This passphrase does not open the store.' };
    expect(faultAt('passphrase', failure)).toBe('This passphrase does not open the store.');
    expect(faultAt('path', failure)).toBeNull();
    expect(faultAt('form', { reason: 'disk-full', message: 'The disk is full.' })).toBe('The disk is full.');
  });
});

import { describe, expect, it } from 'vitest';
import { centreName, memberName, setAsideText } from './member-words';

const NUMBERS = [
  { centre: 'mine', number: 1 },
  { centre: 'other', number: 12 },
];

describe('what members of a study are called', () => {
  it('is the role and which of that role it is; the one coordinator has no number', () => {
    expect(memberName({ role: 'centre', number: 3 })).toBe('Centre 3');
    expect(memberName({ role: 'reader', number: 1 })).toBe('Reader 1');
    expect(memberName({ role: 'coordinator', number: 1 })).toBe('Coordinator');
  });

  it('sets the own clinic apart from the other centres of an answer', () => {
    expect(centreName('mine', 'mine', NUMBERS)).toBe('Your clinic');
    expect(centreName('other', 'mine', NUMBERS)).toBe('Centre 12');
    expect(centreName('mine', null, NUMBERS)).toBe('Centre 1');
    expect(centreName('unknown', null, NUMBERS)).toBe('A centre');
  });

  it('stands with the reason where a centre is left out of the pooled answers', () => {
    const setAside = { centre: 'other', number: 12, reason: 'took-too-long' } as const;
    expect(setAsideText(setAside, null)).toContain('Centre 12 is left out of the pooled answers: ');
    expect(setAsideText(setAside, null)).toContain('takes longer than the service allows');
    expect(setAsideText(setAside, 'other')).toContain('Your clinic is left out');
  });
});

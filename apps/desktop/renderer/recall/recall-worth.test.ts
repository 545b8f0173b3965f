import { describe, expect, it } from 'vitest';
import { notWeighedSentence, worthSentence, worthText } from './recall-worth';

const most = { code: 'P-1', ageNow: 15, fall: 0.1, reachNow: 0.8, reachThen: 0.76 };
const least = { ...most, code: 'P-2', fall: 0.0001, reachThen: 0.7999 };

describe('the worth of a recall in words', () => {
  it('says whose visit is not weighed and why, each reason with its number', () => {
    expect(
      notWeighedSentence([
        { reason: 'declined', codes: ['A', 'B'] },
        { reason: 'beyond-reference', codes: ['C'] },
      ]),
    ).toBe(
      'Not weighed: 3\u00a0patients (declined further recalls 2, older than the growth reference reaches 1).',
    );
    expect(notWeighedSentence([])).toBeNull();
  });

  it('names the visit that would teach most, and counts those that would teach next to nothing', () => {
    const sentence = worthSentence([most, least], 'Co-Gn', 'mm');
    expect(sentence).toContain('a visit of P-1 now would teach most');
    expect(sentence).toContain('1 of 2 would teach next to nothing');
    expect(worthText(least)).toBe('next to nothing');
    expect(worthSentence([], 'Co-Gn', 'mm')).toBeNull();
  });
});

import { describe, expect, it } from 'vitest';
import { FIRST_QUESTION, readQuestion, writeQuestion } from './question-address';

describe('a question in the address', () => {
  it('is read back as it was asked', () => {
    const question = {
      measure: 'SNB',
      threshold: { kind: 'floor', amount: 1.5 },
      rule: 'confirmed',
      reference: 'imported-table',
      table: 'Oak 2 + ü',
      filter: { protocol: 'plates A', sex: 'female', expansion: false, maturity: 'before-peak' },
      growthClock: 'maturity',
      groupBy: 'sex',
      filmFactor: 0.912,
      asOf: '2024-06-30',
    } as const;
    const query = writeQuestion(question);
    expect(query.get('threshold')).toBe('1.5deg');
    expect(readQuestion(new URLSearchParams(query.toString()))).toEqual({ question, ignored: [] });
  });

  it('starts with the first question when nothing is asked', () => {
    expect(readQuestion(new URLSearchParams()).question).toEqual(FIRST_QUESTION);
  });

  it('writes the share without the noise of binary fractions', () => {
    const question = { ...FIRST_QUESTION, threshold: { kind: 'share', share: 0.57 } } as const;
    expect(writeQuestion(question).get('threshold')).toBe('57%');
  });

  it('names what makes no sense and goes on with the rest', () => {
    const { question, ignored } = readQuestion(
      new URLSearchParams('measure=Nonsense&threshold=140%25&rule=confirmed&sex=x&film=9.12&asOf=2024-02-31'),
    );
    expect(question).toEqual({ ...FIRST_QUESTION, rule: 'confirmed' });
    expect(ignored).toEqual(['measure=Nonsense', 'threshold=140%', 'sex=x', 'film=9.12', 'asOf=2024-02-31']);
  });

  it('leaves what else the address holds where it is', () => {
    const query = writeQuestion(FIRST_QUESTION, new URLSearchParams('status=held&protocol=old'));
    expect(query.get('status')).toBe('held');
    expect(query.has('protocol')).toBe(false);
  });
});

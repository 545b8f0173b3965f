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
    expect(readQuestion(new URLSearchParams(query.toString()))).toEqual({ question, unread: [] });
  });

  it('starts with the first question when nothing is asked', () => {
    expect(readQuestion(new URLSearchParams()).question).toEqual(FIRST_QUESTION);
  });

  it('writes the share without the noise of binary fractions', () => {
    const question = { ...FIRST_QUESTION, threshold: { kind: 'share', share: 0.57 } } as const;
    expect(writeQuestion(question).get('threshold')).toBe('57%');
  });

  it('names what makes no sense and goes on with the rest', () => {
    const { question, unread } = readQuestion(
      new URLSearchParams('measure=Nonsense&threshold=140%25&rule=confirmed&sex=x&film=9.12&asOf=2024-02-31'),
    );
    expect(question).toEqual({ ...FIRST_QUESTION, rule: 'confirmed' });
    expect(unread).toEqual([
      { written: 'measure=Nonsense', instead: 'Co-Gn' },
      { written: 'threshold=140%', instead: '75%' },
      { written: 'sex=x', instead: 'both sexes' },
      { written: 'film=9.12', instead: 'none' },
      { written: 'asOf=2024-02-31', instead: 'all records' },
    ]);
  });

  it.each([
    ['every part', 'measure=Nope&threshold=999%25&rule=x', ['measure=Nope', 'threshold=999%', 'rule=x']],
    ['an amount in another unit', 'measure=SNB&threshold=2mm', ['threshold=2mm']],
    ['a second value', 'sex=male&sex=female', ['sex=female']],
    ['an empty value', 'rule=', ['rule=']],
    ['a name that no address has', 'treshold=50%25&status=held&page=2', ['treshold=50%']],
  ])('names %s that cannot be read', (_, query, written) => {
    expect(readQuestion(new URLSearchParams(query)).unread.map((part) => part.written)).toEqual(written);
  });

  it('says of a second value which one is used, and of an unknown name that it is left aside', () => {
    const { unread } = readQuestion(new URLSearchParams('sex=male&sex=female&other=1'));
    expect(unread).toEqual([
      { written: 'sex=female', instead: 'male' },
      { written: 'other=1', instead: null },
    ]);
  });

  it('leaves what else the address holds where it is', () => {
    const query = writeQuestion(FIRST_QUESTION, new URLSearchParams('status=held&protocol=old'));
    expect(query.get('status')).toBe('held');
    expect(query.has('protocol')).toBe(false);
  });
});

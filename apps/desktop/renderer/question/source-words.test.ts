import { describe, expect, it } from 'vitest';
import { methodErrorWords, referenceWords } from './source-words';

describe('what an answer rests on', () => {
  it('names a default method error as such, with its source', () => {
    const words = methodErrorWords(
      {
        sd: 1.2,
        source: 'default',
        duplicates: null,
        provenance: { kind: 'from memory', text: 'Usual for retraced films.' },
        smallestDetectableChange: 3.3,
      },
      'mm',
    );
    expect(words).toContain('1.20 mm: a default');
    expect(words).toContain('Usual for retraced films. (from memory.)');
  });

  it('says how many children expected growth was learnt from', () => {
    const words = referenceWords(
      {
        kind: 'untreated-series',
        series: [{ sex: 'female', children: 1, measurements: 4, ages: [8, 14] }],
        degreesOfFreedom: 3,
        rateSd: 0.4,
        residualSd: 1.1,
      },
      'mm',
    );
    expect(words).toContain('female: 1\u00a0child, 4\u00a0measurements, ages 8.0 to 14.0');
  });
});

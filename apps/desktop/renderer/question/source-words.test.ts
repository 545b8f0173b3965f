import { describe, expect, it } from 'vitest';
import { methodErrorBrief, referenceBrief, referenceWords } from './source-words';

describe('what an answer rests on', () => {
  it('says in a few words whether the error in force is the store’s own or a default', () => {
    const films = { sd: 0, source: 'no-film', own: null, provenance: null } as const;
    const error = {
      sd: 0.873,
      retracingSd: 0.873,
      duplicates: null,
      provenance: null,
      films,
      degreesOfFreedom: { retracing: 40, whole: null },
      smallestDetectableChange: 2.4,
    };
    expect(methodErrorBrief({ ...error, source: 'duplicates' }, 'mm')).toBe('0.87 mm, from own duplicates');
    expect(methodErrorBrief({ ...error, source: 'default' }, 'mm')).toBe('0.87 mm, a default');
    expect(
      methodErrorBrief({ ...error, source: 'duplicates', films: { ...films, source: 'not-known' } }, 'mm'),
    ).toBe('0.87 mm, from own duplicates, without error between films');
  });

  it('counts the untreated children of both sexes, and says nothing of growth where none is taken out', () => {
    const series = { measurements: 4, ages: [8, 14] } as const;
    expect(
      referenceBrief({
        kind: 'untreated-series',
        series: [
          { ...series, sex: 'female', children: 20 },
          { ...series, sex: 'male', children: 28 },
        ],
        degreesOfFreedom: 30,
        rateSd: 0.4,
        residualSd: 1.1,
      }),
    ).toBe('own untreated series (48\u00a0children)');
    expect(referenceBrief({ kind: 'not-needed' })).toBeNull();
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

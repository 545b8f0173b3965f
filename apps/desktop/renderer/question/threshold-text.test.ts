import { describe, expect, it } from 'vitest';
import { parseThreshold, thresholdNumber } from './threshold-text';

describe('a typed threshold', () => {
  it('is a share in per cent or an amount, with point or comma', () => {
    expect(parseThreshold('share', '75 %').threshold).toEqual({ kind: 'share', share: 0.75 });
    expect(parseThreshold('floor', '1,5').threshold).toEqual({ kind: 'floor', amount: 1.5 });
    expect(thresholdNumber({ kind: 'share', share: 0.57 })).toBe('57');
  });

  it('is refused with what is allowed', () => {
    expect(parseThreshold('share', '100')).toEqual({
      threshold: null,
      fault: 'A number above 0 and below 100.',
    });
    expect(parseThreshold('floor', '').fault).toBe('A number above 0, at most 50.');
    expect(parseThreshold('share', '1e1').threshold).toBeNull();
  });
});

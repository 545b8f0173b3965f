import { describe, expect, it } from 'vitest';
import { nearestWord } from './nearest-word';

describe('the nearest word', () => {
  const words = ['Co-Gn', 'Co-Go', 'SNA', 'SNB', 'overjet'];

  it('is the one with the fewest changed letters, whatever the case', () => {
    expect(nearestWord('co-gn', words)).toBe('Co-Gn');
    expect(nearestWord('CoGo', words)).toBe('Co-Go');
    expect(nearestWord('ovrejet', words)).toBe('overjet');
  });

  it('is the earlier one of two that are equally near', () => {
    expect(nearestWord('SNC', words)).toBe('SNA');
  });

  it('is none when nothing is near', () => {
    expect(nearestWord('mandible', words)).toBeNull();
    expect(nearestWord('x', words)).toBeNull();
    expect(nearestWord('x'.repeat(1_000_000), words)).toBeNull();
  });
});

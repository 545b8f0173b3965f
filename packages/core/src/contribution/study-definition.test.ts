import { describe, expect, it } from 'vitest';
import { inventedDefinition } from '../pooled/invented-centres.fixture';
import { sameContribution } from './study-definition';

describe('What was sent under another version of the study definition', () => {
  const former = inventedDefinition({ protocols: ['A', 'B'] });

  it('still counts where only what is computed from it changed', () => {
    const later = inventedDefinition({
      protocols: ['B', 'A'],
      threshold: { kind: 'share', share: 0.5 },
      rule: 'confirmed',
      years: [1, 10],
      groupBy: 'protocol',
      reference: { kind: 'built-in-table' },
    });
    expect(sameContribution(former, later)).toBe(true);
  });

  it('is made anew where anything that leaves a clinic changed, or who may read it', () => {
    const changes: Parameters<typeof inventedDefinition>[0][] = [
      { measures: ['Co-Gn', 'SNB'] },
      { protocols: ['A'] },
      { smallestCell: 11 },
      { recordsShared: true },
      { reference: { kind: 'own-untreated-series' } },
      { coarsening: { ...former.coarsening, dayStep: 14 } },
      { coarsening: { ...former.coarsening, smallGroups: 'leave-out' } },
    ];
    for (const change of changes) {
      expect(sameContribution(former, inventedDefinition({ protocols: ['A', 'B'], ...change }))).toBe(false);
    }
  });
});

import { describe, expect, it } from 'vitest';
import { definitionWith } from './contribution.fixture';
import { AGREEING_SENTENCE, definitionChangesWords } from './definition-changes';
import { studyDefinitionSchema, type StudyDefinition } from './study-definition';

const before = definitionWith();
const wordsOf = (parts: Partial<StudyDefinition>): string[] =>
  definitionChangesWords(before, studyDefinitionSchema.parse({ ...before, ...parts }));

describe('what a clinic is told of a new study definition', () => {
  it('is nothing where it says the same in another order', () => {
    expect(wordsOf({ measures: [...before.measures].reverse(), years: [...before.years].reverse() })).toEqual(
      [],
    );
  });

  it('is what changed, that no record goes again for what is only computed, and that confirming is agreeing', () => {
    const words = wordsOf({ threshold: { kind: 'share', share: 0.4 }, years: [1, 4] });
    expect(words).toHaveLength(4);
    expect(words[0]).toMatch(/The gain stays while there is left: "At least 40.% of it" in place of "/);
    expect(words[1]).toMatch(/Years: "1, 4" in place of "/);
    expect(words[2]).toMatch(/no record is sent again for that: only the sheet/);
    expect(words[3]).toBe(AGREEING_SENTENCE);
  });

  it('is first who will read the records, and that all go again, where the study begins to share them', () => {
    const words = wordsOf({ recordsShared: true, smallestCell: before.smallestCell + 1 });
    expect(words[0]).toMatch(/Centres read each other’s records: "Yes, .*" in place of "No"/);
    expect(words.at(-2)).toMatch(/all records are sent again/);
  });

  it('leaves nothing of a definition out', () => {
    const others: Readonly<Record<keyof StudyDefinition, unknown>> = {
      measures: ['Co-Gn'],
      threshold: { kind: 'floor', amount: 1.25 },
      rule: before.rule === 'any-visit' ? 'confirmed' : 'any-visit',
      reference: {
        kind: before.reference.kind === 'built-in-table' ? 'own-untreated-series' : 'built-in-table',
      },
      groupBy: before.groupBy === 'sex' ? 'maturity' : 'sex',
      protocols: ['invented'],
      years: [7],
      level: 0.8,
      smallestCell: 17,
      coarsening: { ...before.coarsening, dayStep: before.coarsening.dayStep + 1 },
      recordsShared: !before.recordsShared,
    };
    for (const [key, value] of Object.entries(others)) {
      const after = studyDefinitionSchema.parse({ ...before, [key]: value });
      expect(definitionChangesWords(before, after).length, key).toBe(3);
    }
    const { coarsening } = before;
    for (const part of [
      { smallestGroup: coarsening.smallestGroup + 1 },
      { ageStepMonths: coarsening.ageStepMonths + 1 },
      { smallGroups: coarsening.smallGroups === 'keep' ? 'leave-out' : 'keep' },
    ] as const) {
      expect(wordsOf({ coarsening: { ...coarsening, ...part } }), JSON.stringify(part)).toHaveLength(3);
    }
  });
});

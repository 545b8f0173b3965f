import { describe, expect, it } from 'vitest';
import { studyDefinitionSchema } from '@longhold/core/contribution';
import { consequences, draftOf, FIRST_DRAFT, readDraft } from './definition-draft';

const DEFINITION = studyDefinitionSchema.parse({
  measures: ['Co-Gn', 'SNB'],
  threshold: { kind: 'floor', amount: 2 },
  rule: 'confirmed',
  reference: { kind: 'own-untreated-series' },
  groupBy: 'sex',
  protocols: ['PLATE', 'FIXED'],
  years: [1, 2, 5],
  level: 0.9,
  coarsening: { smallestGroup: 5, dayStep: 14, ageStepMonths: 6, smallGroups: 'leave-out' },
  recordsShared: true,
});

describe('the form of a study definition', () => {
  it('gives the same definition back when nothing is changed', () => {
    expect(readDraft(draftOf(DEFINITION)).definition).toEqual(DEFINITION);
  });

  it('begins with a definition that could be published', () => {
    expect(readDraft(FIRST_DRAFT).definition).not.toBeNull();
  });

  it('says in which field what would be right', () => {
    const { definition, faults } = readDraft({
      ...FIRST_DRAFT,
      measures: [],
      years: '1, two',
      level: '40',
      smallestCell: '0',
      smallestGroup: '1.5',
      dayStep: '',
      ageStepMonths: '25',
      protocols: 'A*B',
    });
    expect(definition).toBeNull();
    expect(Object.keys(faults).sort()).toEqual(
      [
        'measures',
        'years',
        'level',
        'smallestCell',
        'smallestGroup',
        'dayStep',
        'ageStepMonths',
        'protocols',
      ].sort(),
    );
  });

  it('understands years in any order, each once', () => {
    expect(readDraft({ ...FIRST_DRAFT, years: '5, 1,1 , 3' }).definition?.years).toEqual([1, 3, 5]);
  });
});

describe('what a new version causes', () => {
  const said = (changes: Partial<typeof DEFINITION>): string =>
    consequences(DEFINITION, { ...DEFINITION, ...changes }).join(' ');

  it('is only another computation where the same leaves', () => {
    expect(said({ threshold: { kind: 'share', share: 0.5 }, years: [2] })).toMatch(/no record is sent again/);
  });

  it('is that every clinic confirms anew where something else leaves', () => {
    expect(said({ measures: ['SNB'] })).toMatch(/confirms before they are sent/);
    expect(said({ coarsening: { ...DEFINITION.coarsening, dayStep: 7 } })).toMatch(/confirms before/);
  });

  it('names a greater risk of recognition', () => {
    expect(said({ smallestCell: 5 })).toMatch(/recognised/);
    expect(said({})).not.toMatch(/recognised/);
    expect(consequences({ ...DEFINITION, recordsShared: false }, DEFINITION).join(' ')).toMatch(
      /read each other/,
    );
  });
});

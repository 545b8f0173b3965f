import { describe, expect, it } from 'vitest';
import { outcomeQuestionSchema, type OutcomeQuestionInput, type OutcomeSummary } from '../answers';
import { MEASURES } from '../measures';
import { inventedDefinition } from './invented-centres.fixture';
import { questionDifferences } from './question-differences';

const DEFINITION = inventedDefinition();
const [measure] = MEASURES.filter(({ code }) => code === 'Co-Gn');
if (measure === undefined) throw new Error('the catalogue has no Co-Gn');
const { reference: agreed } = DEFINITION;
if (agreed.kind !== 'growth-table') throw new Error('no growth table');

type Asked = Parameters<typeof questionDifferences>[0];
const TABLE: OutcomeSummary['reference'] = {
  kind: 'imported-table',
  name: agreed.table.name,
  source: agreed.table.source,
  filmFactor: 1,
  byStage: false,
  meansUncertaintyKnown: false,
  series: [],
  rateSd: 0.2,
};
const SAME: OutcomeQuestionInput = { rule: 'any-visit' };

function parts(question: OutcomeQuestionInput, changes: Partial<Asked> = {}): string[] {
  const asked: Asked = {
    question: outcomeQuestionSchema.parse({ ...SAME, ...question }),
    measure,
    reference: TABLE,
    films: { unknown: 0, assumed: 0 },
    ...changes,
  };
  return questionDifferences(asked, DEFINITION).map(({ part }) => part);
}

describe('a clinic’s own question beside that of a study', () => {
  it('is the same where threshold, rule, growth, patients, error and level are', () => {
    expect(parts({})).toEqual([]);
    // Groups only decide how curves are told apart.
    expect(parts({ groupBy: 'maturity' })).toEqual([]);
  });

  it.each([
    ['threshold', { threshold: { kind: 'share', share: 0.5 } }],
    ['threshold', { threshold: { kind: 'floor', amount: 2 } }],
    ['rule', { rule: 'confirmed' }],
    ['clock', { growthClock: 'maturity' }],
    ['patients', { filter: { sex: 'female' } }],
    ['error', { errorFactor: 2 }],
    ['level', { level: 0.9 }],
  ] satisfies [string, OutcomeQuestionInput][])('differs in %s where it does', (part, question) => {
    expect(parts(question)).toEqual([part]);
  });

  it('differs in growth where that is read elsewhere, from another table too, unless none is needed', () => {
    expect(parts({}, { reference: { ...TABLE, name: 'Another table' } })).toEqual(['reference']);
    expect(parts({}, { reference: { kind: 'none', reason: 'None.' } })).toEqual(['reference']);
    expect(parts({}, { reference: { kind: 'not-needed' } })).toEqual([]);
  });

  it('differs where films without a factor are given one', () => {
    expect(parts({ filmFactor: 0.92 }, { films: { unknown: 0, assumed: 3 } })).toEqual(['film-factor']);
  });
});

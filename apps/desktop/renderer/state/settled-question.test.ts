import { describe, expect, it } from 'vitest';
import { FIRST_QUESTION, type ChosenQuestion } from './question-address';
import { askedOfMeasure, settleQuestion } from './settled-question';

const STORE = {
  protocols: ['A', 'B'],
  growthTables: [
    { name: 'Oak', measure: 'Co-Gn' },
    { name: 'Elm', measure: 'Co-Gn' },
  ],
};

function asking(table: string | null, protocol: string | null, measure = 'Co-Gn'): ChosenQuestion {
  return { ...FIRST_QUESTION, measure, table, filter: { ...FIRST_QUESTION.filter, protocol } };
}

describe('a question that the store cannot serve', () => {
  it('is asked without the table and the protocol that are not there, and both are named', () => {
    const { question, unknown } = settleQuestion(asking('Nope', 'NOPE'), STORE);
    expect(question).toEqual(asking(null, null));
    expect(unknown).toEqual([
      { name: 'table', written: 'table=Nope', instead: 'the first of the measure' },
      { name: 'protocol', written: 'protocol=NOPE', instead: 'all protocols' },
    ]);
  });

  it('takes no table of another measure', () => {
    const { question, unknown } = settleQuestion(asking('Oak', null, 'SNB'), STORE);
    expect(question.table).toBeNull();
    expect(unknown.map(({ instead }) => instead)).toEqual(['none, since there is none of this measure']);
  });

  it('stays as it is where all is there, and where no store is open', () => {
    const served = asking('Elm', 'B');
    expect(settleQuestion(served, STORE)).toEqual({ question: served, unknown: [] });
    const unjudged = asking('Nope', 'NOPE');
    expect(settleQuestion(unjudged, null).question).toBe(unjudged);
  });
});

describe('a question asked of another measure', () => {
  const lengths = { ...asking('Oak', 'A'), filmFactor: 0.9 };

  it('leaves behind the factor and the table of lengths where it is an angle', () => {
    expect(askedOfMeasure(lengths, 'SNB', STORE)).toEqual(asking(null, 'A', 'SNB'));
  });

  it('keeps the factor for another length', () => {
    expect(askedOfMeasure(lengths, 'Co-Go', STORE).filmFactor).toBe(0.9);
  });
});

import { generateDemo } from '@longhold/demo';
import { describe, expect, it } from 'vitest';
import { referenceDeviations, type ImportedTable } from '../growth';
import { createRandom } from '../numeric';
import { answerPrepared } from './answer-outcome';
import { DOUBT_STREAM, drawnLosses } from './drawn-losses';
import { askedAbout } from './eligible';
import { patientContrasts, patientLosses } from './patient-outcome';
import { prepareQuestion, type PreparedQuestion } from './prepared-question';
import type { OutcomeQuestionInput } from './question';

const demo = generateDemo({ seed: 7, patients: 120 });
const [some] = demo.tables;
if (some === undefined) throw new Error('the demo has no table');
const table: ImportedTable = { ...some, rows: some.rows.map((row) => ({ ...row, sd: 3, n: 40 })) };
const ask = {
  measure: table.measure,
  asOf: demo.today,
  filmFactor: 1,
  reference: 'imported-table',
  resamples: 50,
} as const;

function prepared(input: OutcomeQuestionInput, of: ImportedTable): PreparedQuestion {
  return prepareQuestion(demo.study, { ...ask, ...input }, [of]);
}

/** The same with the method error taken as it is, so that only the table moves. */
function errorTaken(own: PreparedQuestion): PreparedQuestion {
  return { ...own, methodError: { ...own.methodError, degreesOfFreedom: { retracing: null, whole: null } } };
}

function drawnOf(question: PreparedQuestion) {
  const contrasts = askedAbout(question.study, question.question).flatMap(
    (history) => patientContrasts(history, question.question, question.yardstick) ?? [],
  );
  return drawnLosses(contrasts, question);
}

/** The table with its means moved by what the first draw of the question's seed says. */
function movedTable({ question, yardstick }: PreparedQuestion): ImportedTable {
  const deviation =
    referenceDeviations(yardstick.reference)?.(createRandom(question.seed ^ DOUBT_STREAM)) ?? [];
  const inOrder = (['female', 'male'] as const).flatMap((sex) =>
    table.rows.filter((row) => row.sex === sex).sort((a, b) => (a.ageYears ?? 0) - (b.ageYears ?? 0)),
  );
  const rows = inOrder.map((row, i) => ({
    ...row,
    mean: row.mean + (deviation[i] ?? NaN) / table.filmFactor,
  }));
  return { ...table, rows };
}

describe('times to loss under a drawn growth reference', () => {
  const inputs: readonly (readonly [string, OutcomeQuestionInput])[] = [
    ['a share, confirmed', {}],
    ['a share, at any visit', { rule: 'any-visit', threshold: { kind: 'share', share: 0.5 } }],
    ['a share, beyond error', { rule: 'beyond-error' }],
    ['a floor', { rule: 'any-visit', threshold: { kind: 'floor', amount: 1 } }],
  ];
  it.each(inputs)('are those of a table whose means are moved so: %s', (_, input) => {
    const question = errorTaken(prepared(input, table));
    const drawn = drawnOf(question);
    const times = drawn?.times(0);
    const moved = prepared(input, movedTable(question));
    const losses = askedAbout(moved.study, moved.question).map((history) =>
      patientLosses(history, moved.question, moved.yardstick),
    );
    const known = new Map(
      losses.map(({ code, lossByRule }) => [code, lossByRule?.[moved.question.rule] ?? null]),
    );
    let inRiskSet = 0;
    drawn?.codes.forEach((code, i) => {
      const loss = known.get(code) ?? null;
      const left = times?.left[i] ?? NaN;
      expect(Number.isNaN(left)).toBe(loss === null);
      if (loss === null) return;
      expect([left, times?.right[i]]).toEqual([loss.left, loss.right ?? Infinity]);
      inRiskSet++;
    });
    expect(inRiskSet).toBe(losses.filter(({ lossByRule }) => lossByRule !== null).length);
    expect(inRiskSet).toBeGreaterThan(20);
  });

  it('widen the limits where a table rests on few children, and not where it rests on all there are', () => {
    const limits = (sd: number | null, n: number | null) => {
      const rows = table.rows.map((row) => ({ ...row, sd, n }));
      const { survival } = answerPrepared(errorTaken(prepared({ rule: 'any-visit' }, { ...table, rows })));
      const at = survival?.turnbull.atYears.find(({ year }) => year === 2)?.limits;
      return { lower: at?.lower ?? NaN, upper: at?.upper ?? NaN, carried: survival?.carried };
    };
    const [unknown, all, few] = [limits(null, null), limits(3, 1e14), limits(3, 8)];
    expect(unknown.carried).toEqual({ growthReference: 'not-known', methodError: 'not-known' });
    expect(all.carried?.growthReference).toBe('carried');
    expect(all.lower).toBeCloseTo(unknown.lower, 6);
    expect(all.upper).toBeCloseTo(unknown.upper, 6);
    expect(few.upper - few.lower).toBeGreaterThan(1.2 * (all.upper - all.lower));
  });
});

import { describe, expect, it } from 'vitest';
import { answerPrepared } from '../answers';
import { pooledHistories } from '../contribution/pooled-histories';
import { prepareContributed } from '../contribution/pooled-question';
import { gainRows } from '../answers/gain-rows';
import { patientContrasts } from '../answers/patient-outcome';
import { fitLinearMixedModel } from '../mixed';
import { isRefusal } from '../numeric';
import { centreStatisticsSchema } from './centre-statistics';
import { centreOf, INVENTED_SHEET, inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { pooledAnswer, type PooledMeasure } from './pooled-answer';

const DEFINITION = inventedDefinition();
const SERIES = [
  { centre: 'a', records: inventedRecords({ patients: 60, seed: 11 }) },
  { centre: 'b', records: inventedRecords({ patients: 35, seed: 12, lasting: 2.2 }) },
  { centre: 'c', records: inventedRecords({ patients: 90, seed: 13, forward: 0.7 }) },
];
const CENTRES = SERIES.map(({ centre, records }) => centreOf(centre, records, DEFINITION));

function only({ measures }: { readonly measures: readonly PooledMeasure[] }): PooledMeasure {
  const [measure] = measures;
  if (measure === undefined) throw new Error('no measure');
  return measure;
}

function found<Answer extends object>(
  value: Answer | { readonly refused: string; readonly message: string },
): Answer {
  if ('refused' in value) throw new Error(value.message);
  return value;
}

describe('the pooled answer', () => {
  const pooled = only(pooledAnswer(CENTRES, DEFINITION, 1));

  // All records in one store, asked the same question: the patients of all centres as those of one clinic.
  const prepared = prepareContributed(
    SERIES.flatMap(({ records }) => records),
    INVENTED_SHEET.methodErrors,
    DEFINITION,
    'Co-Gn',
  );
  const { yardstick } = prepared;
  const store = answerPrepared({ ...prepared, question: { ...prepared.question, resamples: 50 } });

  it('has the retained shares of one big store', () => {
    for (const { year, oneStage } of pooled.retention) {
      const own = store.retained.find((row) => row.year === year);
      const { estimate, patients, interval } = found(oneStage);
      expect(patients).toBe(own?.n);
      expect(estimate / (own?.share?.estimate ?? NaN)).toBeCloseTo(1, 12);
      const expected = own?.share?.interval;
      if (interval.kind !== 'bounded' || expected?.kind !== 'bounded') throw new Error('not bounded');
      expect(interval.lower / expected.lower).toBeCloseTo(1, 11);
      expect(interval.upper / expected.upper).toBeCloseTo(1, 11);
    }
  });

  it('has the interval-censored curve of one big store', () => {
    for (const { year, oneStage } of pooled.survival) {
      const own = store.survival?.turnbull.atYears.find((row) => row.year === year);
      const { estimate, patients } = found(oneStage);
      expect(patients).toBe(own?.atRisk);
      expect(estimate).toBeCloseTo(own?.estimate ?? NaN, 9);
    }
  });

  it('has the second treatments of one big store', () => {
    for (const { year, lost, treatedAgain } of pooled.competing) {
      const own = store.competing?.atYears.find((row) => row.year === year);
      expect(lost.probability).toBeCloseTo(own?.lost.probability ?? NaN, 12);
      expect(treatedAgain.probability).toBeCloseTo(own?.treatedAgain.probability ?? NaN, 12);
      // What the method error moves is drawn, and not as often in the pool.
      expect(lost.lower).toBeCloseTo(own?.lost.lower ?? NaN, 4);
    }
  });

  it('has the one-stage parts that a mixed model of all rows has', () => {
    const rows = SERIES.flatMap(({ centre, records }) =>
      gainRows(
        pooledHistories(records).flatMap(
          (history) => patientContrasts(history, prepared.question, yardstick) ?? [],
        ),
        yardstick,
      ).map((row) => ({ centre, ...row })),
    );
    const columns = [
      { name: 'lasting', values: rows.map(() => 1) },
      { name: 'passing', values: rows.map(({ velocity }) => velocity) },
    ];
    const whole = found(
      fitLinearMixedModel({
        response: rows.map(({ gain }) => gain),
        fixed: columns,
        random: { factor: 'patient', labels: rows.map(({ code }) => code), columns },
        outer: { factor: 'centre', labels: rows.map(({ centre }) => centre), columns, structure: 'diagonal' },
      }),
    );
    const { lasting, forward, spread } = pooled.separation;
    expect(found(lasting.oneStage).estimate / (whole.coefficients[0] ?? NaN)).toBeCloseTo(1, 6);
    expect(found(forward.oneStage).estimate / (whole.coefficients[1] ?? NaN)).toBeCloseTo(1, 6);
    expect(found(spread).residual / whole.residualSd).toBeCloseTo(1, 7);
    expect(found(spread).gains).toBe(rows.length);
  });

  it('is the same in whatever order centres and records come, and from statistics that went over a wire', () => {
    const shuffled = SERIES.map(({ centre, records }) =>
      centreOf(centre, [...records].reverse(), DEFINITION),
    ).reverse();
    const sent = shuffled.map((one) => ({
      ...one,
      statistics: centreStatisticsSchema.parse(JSON.parse(JSON.stringify(one.statistics))),
    }));
    expect(only(pooledAnswer(sent, DEFINITION, 1))).toEqual(pooled);
  });

  it('does not pool statistics that were made under another version of the definition', () => {
    expect(() => pooledAnswer(CENTRES, DEFINITION, 2)).toThrow(/version 1 .* where 2 is in force/);
  });

  it('says that one centre is too few for a mean over centres, and gives its patients as one series', () => {
    const alone = only(pooledAnswer(CENTRES.slice(0, 1), DEFINITION, 1));
    const [first] = alone.retention;
    expect(first?.twoStage).toMatchObject({ refused: 'too-few-centres' });
    expect(first !== undefined && !isRefusal(first.oneStage)).toBe(true);
    expect(alone.separation.lasting.oneStage).toMatchObject({ refused: 'too-few-groups' });
  });

  it('finds planted differences between centres, and none where there are none', () => {
    const { separation } = pooled;
    expect(found(separation.differences).degreesOfFreedom).toBe(4);
    const alike = ['a', 'b', 'c'].map((centre, i) =>
      centreOf(centre, inventedRecords({ patients: 60, seed: 40 + i }), DEFINITION),
    );
    const apart = ['a', 'b', 'c'].map((centre, i) =>
      centreOf(centre, inventedRecords({ patients: 60, seed: 40 + i, lasting: 1 + i }), DEFINITION),
    );
    expect(found(only(pooledAnswer(alike, DEFINITION, 1)).separation.differences).p).toBeGreaterThan(0.05);
    expect(found(only(pooledAnswer(apart, DEFINITION, 1)).separation.differences).p).toBeLessThan(1e-6);
  });
});

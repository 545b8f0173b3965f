import { describe, expect, it } from 'vitest';
import { createRandom } from '../numeric';
import { centreStatisticsSchema, type CentreStatistics, type MeasureStatistics } from './centre-statistics';
import { impossibleStatistics } from './impossible-statistics';
import { inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { oddDefinition, oddRecords, statisticsUnder } from './odd-centres.fixture';

const DEFINITION = inventedDefinition({ measures: ['Co-Gn'], years: [1, 2, 3] }, 'uncertain');
const HONEST = statisticsUnder(DEFINITION, inventedRecords({ patients: 60, seed: 11, untreated: 20 }));

/** As it comes over the wire. */
function sent(statistics: CentreStatistics): CentreStatistics {
  return centreStatisticsSchema.parse(JSON.parse(JSON.stringify(statistics)));
}

describe('Statistics that a centre made of its records', () => {
  it('are possible, whatever the study group agreed on and however odd the records', () => {
    const random = createRandom(4);
    let withGains = 0;
    for (let centre = 0; centre < 25; centre++) {
      const definition = oddDefinition(random);
      const statistics = sent(statisticsUnder(definition, oddRecords(random)));
      expect(impossibleStatistics(statistics, definition), `centre ${centre}`).toEqual([]);
      withGains += statistics.measures.filter(({ separation }) => separation.patients.length > 5).length;
    }
    expect(withGains).toBeGreaterThan(10);
  }, 60_000);

  it('name no protocol that is not in the list of the study group', () => {
    const records = inventedRecords({ patients: 30, seed: 2 }).map((record, i) => ({
      ...record,
      protocol: i % 2 === 0 ? 'PLATE' : 'A. Surname',
    }));
    const definition = inventedDefinition({ groupBy: 'protocol', protocols: ['PLATE'] });
    const groups = statisticsUnder(definition, records).measures[0]?.losses.map(({ group }) => group);
    expect([...new Set(groups)].sort()).toEqual(['PLATE', null]);
  });
});

type Change = (own: MeasureStatistics) => Partial<MeasureStatistics>;

/** The first entry of a list changed, the others as they were. */
function first<Row>(rows: readonly Row[], change: (row: Row) => Row): Row[] {
  return rows.map((row, i) => (i === 0 ? change(row) : row));
}

/** Each is one change of honest statistics, with the place that must be named. */
const CHANGES: readonly (readonly [what: string, place: string, change: Change])[] = [
  ['another measure than the study’s', 'measures', () => ({ measure: 'SNB' })],
  [
    'an error of another measure',
    'methodError.measure',
    ({ methodError }) => ({
      methodError: methodError === null ? null : { ...methodError, measure: 'SNB' },
    }),
  ],
  [
    'a reference that the study group did not agree on',
    'reference.kind',
    () => ({
      reference: { kind: 'own', children: 5 },
    }),
  ],
  [
    'children behind a reference that is not the centre’s own',
    'reference.children',
    ({ reference }) => ({
      reference: { ...reference, children: 5 },
    }),
  ],
  [
    'a year of the flow that is not the study’s',
    'flow',
    ({ flow }) => ({
      flow: first(flow, (row) => ({ ...row, year: 7 })),
    }),
  ],
  ['the same year of the flow twice', 'flow', ({ flow }) => ({ flow: [...flow.slice(0, 1), ...flow] })],
  [
    'more eligible patients than were treated',
    'flow.0.eligible',
    ({ flow }) => ({
      flow: first(flow, (row) => ({ ...row, eligible: row.eligible + 1_000, seen: row.seen + 1_000 })),
    }),
  ],
  [
    'more patients seen than eligible',
    'flow.0.notSeen',
    ({ flow }) => ({
      flow: first(flow, (row) => ({ ...row, seen: row.eligible + 1 })),
    }),
  ],
  [
    'ten million patients measured',
    'flow.0.measured',
    ({ flow }) => ({
      flow: first(flow, (row) => ({ ...row, measured: 10_000_000 })),
    }),
  ],
  [
    'one more patient not seen',
    'flow.0.notSeen',
    ({ flow }) => ({
      flow: first(flow, (row) => ({ ...row, notSeen: { ...row.notSeen, moved: row.notSeen.moved + 1 } })),
    }),
  ],
  [
    'a year of the gains that is not the study’s',
    'retention',
    ({ retention }) => ({
      retention: first(retention, (row) => ({ ...row, year: 9 })),
    }),
  ],
  [
    'the gains of one year twice',
    'retention',
    ({ retention }) => ({
      retention: [...retention.slice(0, 1), ...retention],
    }),
  ],
  [
    'gains of more patients than were treated',
    'retention.0.patients',
    ({ retention }) => ({
      retention: first(retention, (row) => ({ ...row, patients: 61 })),
    }),
  ],
  [
    'gains that nobody can have',
    'retention.0.end',
    ({ retention }) => ({
      retention: first(retention, (row) => ({ ...row, now: -1e12 })),
    }),
  ],
  [
    'squares that no gains can have',
    'retention.0.scatter',
    ({ retention }) => ({
      retention: first(retention, (row) => ({ ...row, scatter: { ...row.scatter, now: 1e12 } })),
    }),
  ],
  [
    'a product larger than its squares allow',
    'retention.0.scatter',
    ({ retention }) => ({
      retention: first(retention, ({ scatter, ...row }) => ({
        ...row,
        scatter: { ...scatter, both: 1.001 * Math.sqrt(scatter.end * scatter.now) },
      })),
    }),
  ],
  [
    'an error of the curve that is no covariance',
    'retention.0.curve',
    ({ retention }) => ({
      retention: first(retention, ({ curve, ...row }) => ({
        ...row,
        curve: { ...curve, both: -1.001 * Math.sqrt(curve.end * curve.now) - 1e-8 },
      })),
    }),
  ],
  [
    'a name in place of a group',
    'losses',
    ({ losses }) => ({
      losses: first(losses, (row) => ({ ...row, group: 'A. Surname, born 2010' })),
    }),
  ],
  [
    'a group of another grouping',
    'losses',
    ({ losses }) => ({
      losses: first(losses, (row) => ({ ...row, group: 'Larger gain' })),
    }),
  ],
  ['the same interval twice', 'losses', ({ losses }) => ({ losses: [...losses.slice(0, 1), ...losses] })],
  [
    'one patient more with a loss',
    'losses',
    ({ losses }) => ({
      losses: first(losses, (row) => ({ ...row, patients: row.patients + 1 })),
    }),
  ],
  [
    'a loss found on another day',
    'endings',
    ({ losses }) => ({
      losses: losses.map((row) => (row.right === null ? row : { ...row, right: row.right + 1 })),
    }),
  ],
  ['an interval taken out', 'losses', ({ losses }) => ({ losses: losses.slice(1) })],
  ['the same ending twice', 'endings', ({ endings }) => ({ endings: [...endings.slice(0, 1), ...endings] })],
  [
    'ten million endings on one day',
    'endings',
    ({ endings }) => ({
      endings: first(endings, (row) => ({ ...row, patients: 10_000_000 })),
    }),
  ],
  [
    'an ending on another day',
    'endings',
    ({ endings }) => ({
      endings: endings.map((row) => (row.ending === 'neither' ? { ...row, day: row.day + 1 } : row)),
    }),
  ],
  [
    'one patient more left out',
    'losses',
    ({ leftOut }) => ({
      leftOut: [...leftOut, { reason: 'no-consent', patients: 1 }],
    }),
  ],
  [
    'the same reason twice',
    'leftOut',
    () => ({
      leftOut: [
        { reason: 'no-end-value', patients: 1 },
        { reason: 'no-end-value', patients: 1 },
      ],
    }),
  ],
  [
    'gains of fewer patients than are followed',
    'separation.patients',
    ({ separation }) => ({
      separation: { ...separation, patients: separation.patients.slice(0, 5) },
    }),
  ],
  [
    'gains of more patients than were treated',
    'separation.patients',
    ({ separation }) => ({
      separation: { ...separation, patients: [...separation.patients, ...separation.patients] },
    }),
  ],
  [
    'a triangle of another number of gains',
    'separation.patients.0',
    ({ separation }) => ({
      separation: {
        ...separation,
        patients: first(separation.patients, ([count, ...rest]) => [count + 1, ...rest]),
      },
    }),
  ],
  [
    'more directions than gains',
    'separation.patients.0',
    ({ separation }) => ({
      separation: { ...separation, patients: first(separation.patients, () => [1, 1, 0.5, 2, 0, 0, 3]) },
    }),
  ],
  [
    'a gain that nobody can have',
    'separation.patients.0',
    ({ separation }) => ({
      separation: { ...separation, patients: first(separation.patients, () => [1, 1, 0.5, 2e6, 0, 0, 0]) },
    }),
  ],
  [
    'a velocity that nobody can have',
    'separation.patients.0',
    ({ separation }) => ({
      separation: { ...separation, patients: first(separation.patients, () => [1, 1, 1e9, 2, 0, 0, 0]) },
    }),
  ],
  [
    'velocities of more patients than there are',
    'separation.endPatients',
    ({ separation }) => ({
      separation: { ...separation, endPatients: separation.endPatients + 1 },
    }),
  ],
  [
    'a sum of velocities that nobody can have',
    'separation.endVelocity',
    ({ separation }) => ({
      separation: { ...separation, endVelocity: -1e9 },
    }),
  ],
  [
    'an error of both parts that is no covariance',
    'separation.curve',
    ({ separation }) => ({
      separation: {
        ...separation,
        curve: {
          lasting: 1,
          both: 0.9,
          passing: 1,
          lastingVelocity: 0.9,
          passingVelocity: -0.9,
          velocity: 1,
        },
      },
    }),
  ],
];

describe('Statistics with one change that no records can give are told from honest ones:', () => {
  it.each(CHANGES)('%s', (_what, place, change) => {
    const changed = sent({
      ...HONEST,
      measures: HONEST.measures.map((own) => ({ ...own, ...change(own) })),
    });
    const faults = impossibleStatistics(changed, DEFINITION);
    expect(faults.map((fault) => fault.place)).toContain(
      place === 'measures' ? place : `measures.0.${place}`,
    );
    for (const { right } of faults) expect(right).toMatch(/^[a-z].{10,}[^.]$/);
  });

  it('measures left out, twice or in another order', () => {
    const [own] = HONEST.measures;
    for (const measures of [[], own === undefined ? [] : [own, own]]) {
      const faults = impossibleStatistics({ ...HONEST, measures }, DEFINITION);
      expect(faults.map(({ place }) => place)).toEqual(['measures']);
    }
  });

  it('another number of treated patients, and a flow of the centre that does not add up', () => {
    expect(impossibleStatistics({ ...HONEST, treated: HONEST.treated + 1 }, DEFINITION)).not.toEqual([]);
    const flow = { ...HONEST.flow, treated: 5, contributed: 60 };
    expect(impossibleStatistics({ ...HONEST, flow }, DEFINITION)[0]?.place).toBe('flow.treated');
  });

  it('the refusal holds nothing of what was sent', () => {
    const word = 'Plantedname';
    const measures = HONEST.measures.map((own) => ({
      ...own,
      losses: first(own.losses, (row) => ({ ...row, group: word })),
    }));
    const faults = impossibleStatistics({ ...HONEST, measures }, DEFINITION);
    expect(faults).toHaveLength(1);
    expect(JSON.stringify(faults)).not.toContain(word);
  });
});

import { describe, expect, it } from 'vitest';
import type { CentreStatistics } from './centre-statistics';
import { centreOf, inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { statisticsRisk } from './statistics-risk';
import { statisticsWords } from './statistics-words';

const definition = inventedDefinition();
const records = inventedRecords({ patients: 40, seed: 5, untreated: 12 });
const { statistics } = centreOf('one', records, definition);

const notSeen = {
  withdrew: 3,
  moved: 0,
  declined: 0,
  'treated-again': 0,
  'no-consent': 0,
  'not-known': 0,
};

/** The same with one measure's sums written by hand, so that every count below is known. */
function byHand(): CentreStatistics {
  const [first] = statistics.measures;
  if (first === undefined) throw new Error('no measure');
  const gains = (count: number): CentreStatistics['measures'][number]['separation']['patients'][number] => {
    return [count, 1, 0, 0, 0, 0, 0];
  };
  return {
    ...statistics,
    measures: [
      {
        ...first,
        leftOut: [{ reason: 'no-follow-up', patients: 2 }],
        flow: [{ year: 1, eligible: 30, seen: 27, measured: 27, notSeen }],
        retention: [],
        losses: [
          { group: 'female', left: 0, right: 350, patients: 1 },
          { group: 'male', left: 700, right: null, patients: 9 },
        ],
        endings: [{ day: 350, ending: 'lost', patients: 1 }],
        separation: { ...first.separation, patients: [gains(1), gains(2), gains(3), gains(6)] },
      },
    ],
  };
}

describe('what a clinic is told before its statistics leave', () => {
  it('is of how many patients they are, of which measures, and that no record leaves', () => {
    const treated = records.filter(({ group }) => group === 'treated').length;
    const [first = ''] = statisticsWords(statistics, definition).leaves;
    expect(first).toContain(`${treated} treated and ${records.length - treated} untreated patients`);
    expect(first).toContain('Co-Gn');
    expect(first).toContain('No record of any patient does.');
  });

  it('counts what is of one person: gains that can be worked out, intervals of one patient, small numbers', () => {
    const [risk] = statisticsRisk(byHand(), 10).measures;
    expect(risk).toMatchObject({
      patients: 4,
      gainsReadable: 2,
      intervals: 2,
      intervalsOfOne: 1,
      endings: 1,
      endingsOfOne: 1,
      // Two left out, three withdrew.
      smallCounts: 2,
    });
    const { risk: words } = statisticsWords(byHand(), { ...definition, smallestCell: 10 });
    expect(words.join(' ')).toContain(
      'Co-Gn: 2 of 4 patients have one or two gains, which can be worked out from their sums exactly.',
    );
    expect(words.join(' ')).toContain('Co-Gn: 1 of 2 intervals of loss are of one patient.');
  });

  it('is that they are personal data, not anonymous, and that the gains’ sums are of one patient each', () => {
    const { law, risk } = statisticsWords(statistics, definition);
    expect(law).toContain('not anonymous');
    expect(law).toContain('Ethics approval');
    expect(risk[0]).toContain('of one patient each');
  });

  it('two gains of one patient can be worked out from number, sum and sum of squares, as it says', () => {
    const two = records.find(
      ({ group, visits }) => group === 'treated' && visits.filter(({ day }) => day >= 0).length === 2,
    );
    if (two === undefined) throw new Error('nobody has two gains');
    const others = records.filter(({ group }) => group === 'untreated');
    const alone = centreOf('one', [two, ...others], definition).statistics.measures[0];
    const [count, r11 = NaN, , r13 = NaN, , r23 = NaN, r33 = NaN] = alone?.separation.patients[0] ?? [];
    expect(count).toBe(2);
    const sum = r11 * r13;
    const squares = r13 ** 2 + r23 ** 2 + r33 ** 2;
    const half = Math.sqrt(2 * squares - sum ** 2) / 2;
    const year = alone?.retention[0];
    const ordered = [year?.end ?? NaN, year?.now ?? NaN].sort((a, b) => a - b);
    expect(sum / 2 - half).toBeCloseTo(ordered[0] ?? NaN, 6);
    expect(sum / 2 + half).toBeCloseTo(ordered[1] ?? NaN, 6);
  });
});

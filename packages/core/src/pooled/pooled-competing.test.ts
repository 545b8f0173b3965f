import { describe, expect, it } from 'vitest';
import { isRefusal } from '../numeric';
import { DAYS_PER_YEAR } from '../records';
import { cumulativeIncidence, incidenceReadings, type IncidenceReading } from '../survival';
import type { EndingCount } from './centre-statistics';
import { inventedDefinition, inventedRecords } from './invented-centres.fixture';
import { statisticsUnder } from './odd-centres.fixture';
import { incidencesOf } from './pooled-competing';

const YEARS = [1, 2, 3, 5];

function readAt(curves: ReturnType<typeof incidencesOf>): IncidenceReading[] {
  if (isRefusal(curves)) throw new Error(curves.message);
  return incidenceReadings(curves, YEARS);
}

/** One row for each patient. */
function onePerPatient(endings: readonly EndingCount[]): IncidenceReading[] {
  const rows = endings.flatMap(({ day, ending, patients }) =>
    Array.from({ length: patients }, () => ({ time: day / DAYS_PER_YEAR, ending })),
  );
  const causes = ['neither', 'lost', 'treated-again'];
  return readAt(
    cumulativeIncidence(
      { time: rows.map(({ time }) => time), cause: rows.map(({ ending }) => causes.indexOf(ending)) },
      { causes: 2 },
    ),
  );
}

describe('The incidences of counted endings', () => {
  const { endings } = statisticsUnder(inventedDefinition(), inventedRecords({ patients: 80, seed: 3 }))
    .measures[0] ?? { endings: [] };

  it('are those of one row for each patient', () => {
    expect(endings.some(({ patients }) => patients > 1)).toBe(true);
    expect(readAt(incidencesOf(endings))).toEqual(onePerPatient(endings));
  });

  it('keep their probabilities where each is a million times as frequent, and lose their doubt', () => {
    const frequent = endings.map((row) => ({ ...row, patients: row.patients * 1_000_000 }));
    const few = readAt(incidencesOf(endings));
    readAt(incidencesOf(frequent)).forEach(({ causes: [lost] }, i) => {
      expect(lost?.probability).toBeCloseTo(few[i]?.causes[0]?.probability ?? NaN, 12);
      expect(lost?.standardError).toBeCloseTo((few[i]?.causes[0]?.standardError ?? NaN) / 1_000, 12);
    });
  });
});

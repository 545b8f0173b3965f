import { isRefusal } from '../numeric';
import { DAYS_PER_YEAR } from '../records';
import { cumulativeIncidence, incidenceReadings, type ProbabilityReading } from '../survival';
import type { EndingCount } from './centre-statistics';
import { endedBy } from './found-losses';
import type { PoolMember } from './pool-member';

/** Loss and second treatment as competing events in all patients together, by one year. */
export interface PooledCompetingYear {
  readonly year: number;
  readonly neither: ProbabilityReading;
  readonly lost: ProbabilityReading;
  readonly treatedAgain: ProbabilityReading;
  /** Followed to that time without either, by centre in the order of the centres. */
  readonly atRiskByCentre: readonly number[];
  /** Lost, and treated again first, by then; by centre. */
  readonly lostByCentre: readonly number[];
  readonly againByCentre: readonly number[];
}

const CAUSES = { neither: 0, lost: 1, 'treated-again': 2 } as const;
/** The cumulative incidences of counted endings, in years; a refusal where there are none. */
export function incidencesOf(
  endings: readonly EndingCount[],
  level?: number,
): ReturnType<typeof cumulativeIncidence> {
  return cumulativeIncidence(
    {
      time: endings.map(({ day }) => day / DAYS_PER_YEAR),
      cause: endings.map(({ ending }) => CAUSES[ending]),
      weights: endings.map(({ patients }) => patients),
    },
    { causes: 2, level },
  );
}

const UNKNOWN: ProbabilityReading = { probability: null, standardError: null, lower: null, upper: null };

/**
 * Cumulative incidences of loss and of a second treatment (Aalen and Johansen 1978) at the times at which they were
 * found; empty where nobody is in the risk set. Times are the visits that found the loss, late by up to an interval.
 */
export function pooledCompeting(
  members: readonly PoolMember[],
  years: readonly number[],
  level: number,
): PooledCompetingYear[] {
  const endings = members.flatMap(({ statistics }) => statistics.endings);
  if (endings.length === 0) return [];
  const curves = incidencesOf(endings, level);
  if (isRefusal(curves)) return [];
  return incidenceReadings(curves, [...years]).map(({ time: year, eventFree, causes }) => ({
    year,
    neither: eventFree,
    lost: causes[0] ?? UNKNOWN,
    treatedAgain: causes[1] ?? UNKNOWN,
    atRiskByCentre: members.map(({ statistics }) =>
      statistics.endings
        .filter(({ day }) => day / DAYS_PER_YEAR >= year)
        .reduce((sum, { patients }) => sum + patients, 0),
    ),
    lostByCentre: members.map(({ statistics }) => endedBy(statistics.endings, 'lost', year)),
    againByCentre: members.map(({ statistics }) => endedBy(statistics.endings, 'treated-again', year)),
  }));
}

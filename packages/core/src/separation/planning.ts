import { designInformation, sumOfDesigns, type DesignInformation } from './design-information';
import { addFadingInformation, NO_FADING_INFORMATION, type FadingInformation } from './fading-information';
import { regressorSums, type VarianceComponents } from './patient-information';

/** How patients are followed: one visit awaited each year. */
export interface FollowUpSchedule {
  /** Years of follow-up, 1 to 10. */
  readonly years: number;
  /** Chance, each year, that a patient is not seen from that year on; 0 or more, below 1. */
  readonly dropOut: number;
  /** Chance that a patient who still comes misses a yearly visit; 0 or more, below 1. */
  readonly missed: number;
}

/** Patients of one kind: visits that they have made, and those that are awaited, one a year. */
export interface FollowedKind<Visit> {
  readonly made: readonly Visit[];
  /** By year from now on; null where a visit would be of no use, since expected growth is not known at that age. */
  readonly awaited: readonly (Visit | null)[];
  /** Chance that they come at all, as for those who stayed away; whoever does is followed like the others. */
  readonly comes: number;
}

/** Visits that a patient may turn out to have made, and how many of the patients are expected to have just these. */
export interface VisitPattern<Visit> {
  readonly visits: readonly Visit[];
  /** Over all patterns these sum to 1. */
  readonly share: number;
}

/** Every way of coming and staying away, for each kind of patients. Staying away is taken to have nothing to do with the gain. */
export function visitPatterns<Visit>(
  kinds: readonly FollowedKind<Visit>[],
  schedule: FollowUpSchedule,
): VisitPattern<Visit>[] {
  const ways = waysOfComing(schedule);
  return kinds.flatMap(({ made, awaited, comes }) => [
    ...(comes > 0
      ? ways.map(({ years, chance }) => ({
          visits: [...made, ...years.flatMap((year) => awaited[year] ?? [])],
          share: (comes * chance) / kinds.length,
        }))
      : []),
    ...(comes < 1 ? [{ visits: made, share: (1 - comes) / kinds.length }] : []),
  ]);
}

/** The years, counted from 0, in which a patient came, with the chance of just these. */
function waysOfComing({ years, dropOut, missed }: FollowUpSchedule): { years: number[]; chance: number }[] {
  const all = Array.from({ length: years }, (_, year) => year);
  return Array.from({ length: 2 ** years }, (_, pattern) => {
    const came = all.filter((year) => (pattern & (1 << year)) !== 0);
    let chance = 0;
    for (let last = (came[came.length - 1] ?? -1) + 1; last <= years; last++) {
      const stays = (1 - dropOut) ** last * (last === years ? 1 : dropOut);
      chance += stays * (1 - missed) ** came.length * missed ** (last - came.length);
    }
    return { years: came, chance };
  }).filter(({ chance }) => chance > 0);
}

/**
 * The information that one patient is expected to give, averaged over the patterns by their shares (no simulation).
 *
 * @param read the information of a patient with these visits
 */
export function expectedInformation<Visit>(
  patterns: readonly VisitPattern<Visit>[],
  read: (visits: readonly Visit[]) => FadingInformation,
): FadingInformation {
  return patterns.reduce(
    (total, { visits, share }) => addFadingInformation(total, read(visits), share),
    NO_FADING_INFORMATION,
  );
}

/**
 * The design information that one patient is expected to give.
 *
 * @param regressor the regressor at a visit
 */
export function expectedDesign<Visit>(
  patterns: readonly VisitPattern<Visit>[],
  regressor: (visit: Visit) => number,
  components: VarianceComponents,
): DesignInformation {
  return sumOfDesigns(
    patterns.map(({ visits, share }) => ({
      weight: share,
      design: designInformation(regressorSums(visits.map(regressor)), components),
    })),
  );
}

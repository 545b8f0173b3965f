import { addFadingInformation, NO_FADING_INFORMATION, type FadingInformation } from './fading-information';

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
}

/**
 * The information that one patient is expected to give, averaged over kinds of patients and over all ways of staying
 * away, each weighed by its probability (no simulation). Staying away is taken to have nothing to do with the gain.
 *
 * @param read the information of a patient with these visits
 */
export function expectedInformation<Visit>(
  kinds: readonly FollowedKind<Visit>[],
  { years, dropOut, missed }: FollowUpSchedule,
  read: (visits: readonly Visit[]) => FadingInformation,
): FadingInformation {
  let total = NO_FADING_INFORMATION;
  for (const { made, awaited } of kinds) {
    for (let last = 0; last <= years; last++) {
      const stays = (1 - dropOut) ** last * (last === years ? 1 : dropOut);
      for (let pattern = 0; stays > 0 && pattern < 2 ** last; pattern++) {
        const came = awaited.slice(0, last).filter((_, year) => (pattern & (1 << year)) !== 0);
        const weight = stays * (1 - missed) ** came.length * missed ** (last - came.length);
        if (weight === 0) continue;
        const visits = [...made, ...came.flatMap((visit) => (visit === null ? [] : [visit]))];
        total = addFadingInformation(total, read(visits), weight / kinds.length);
      }
    }
  }
  return total;
}

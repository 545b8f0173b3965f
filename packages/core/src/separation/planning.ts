import { addInformation, patientInformation, regressorSums } from './patient-information';
import type { Information, VarianceComponents } from './patient-information';

/** How patients are followed: one visit at the end of active treatment and one each year after it. */
export interface FollowUpSchedule {
  /** Years of follow-up, 1 to 10. */
  readonly years: number;
  /** Chance, each year, that a patient is not seen from that year on; 0 or more, below 1. */
  readonly dropOut: number;
  /** Chance that a patient who still comes misses a yearly visit; 0 or more, below 1. */
  readonly missed: number;
}

/**
 * The information that one patient is expected to give about T and S, averaged over kinds of patients and over all ways
 * of staying away, each weighed by its probability (no simulation). Staying away is taken to have nothing to do with the
 * gain.
 *
 * @param kinds for each kind of patient the regressor at the end of active treatment and at each yearly visit; NaN where
 *   a visit would be of no use, since expected growth is not known at that age
 */
export function expectedInformation(
  kinds: readonly (readonly number[])[],
  { years, dropOut, missed }: FollowUpSchedule,
  components: VarianceComponents,
): Information {
  let total: Information = { lasting: 0, both: 0, passing: 0 };
  for (const kind of kinds) {
    for (let last = 0; last <= years; last++) {
      const stays = (1 - dropOut) ** last * (last === years ? 1 : dropOut);
      for (let pattern = 0; stays > 0 && pattern < 2 ** last; pattern++) {
        const came = kind.filter(
          (_, year) => year === 0 || (year <= last && (pattern & (1 << (year - 1))) !== 0),
        );
        const weight = stays * (1 - missed) ** (came.length - 1) * missed ** (last - came.length + 1);
        if (weight === 0) continue;
        total = addInformation(
          total,
          patientInformation(regressorSums(came.filter((value) => Number.isFinite(value))), components),
          weight / kinds.length,
        );
      }
    }
  }
  return total;
}

import { isRefusal, type Refusal } from '../numeric';
import type { RatioInterval } from '../ratio';
import { diagnose, type Diagnosis, type GrowthClockFit } from '../separation';
import { askedAbout } from './eligible';
import { gainRows } from './gain-rows';
import { patientContrasts } from './patient-outcome';
import type { PreparedQuestion } from './prepared-question';
import { readClock, tested, type ReadModel } from './separate-gain';
import type { TestedEstimate } from './separation-answer';

/** What the growth clock alone says, without the fading part and all that goes with a whole answer. */
export interface LastingGain {
  /** T, unit of the measure. */
  readonly lasting: TestedEstimate;
  /** S, years. */
  readonly passing: TestedEstimate;
  readonly share: { readonly estimate: number; readonly interval: RatioInterval };
  readonly diagnosis: Diagnosis;
}

/** What a fitted growth clock says of the lasting gain. */
export function lastingGain({ fit, share }: ReadModel<GrowthClockFit>): LastingGain {
  return {
    lasting: tested(fit.lasting),
    passing: tested(fit.passing),
    share: { estimate: share.estimate, interval: share.interval },
    diagnosis: diagnose(fit, share),
  };
}

/** The same for a whole question, or why the growth clock could not be fitted. */
export function lastingGainOf({ study, question, yardstick }: PreparedQuestion): LastingGain | Refusal {
  const contrasts = askedAbout(study, question)
    .filter(({ patient }) => patient.consentFollowUp)
    .flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  const clock = readClock(gainRows(contrasts, yardstick), yardstick, question.level);
  return isRefusal(clock) ? clock : lastingGain(clock);
}

import { isRefusal, type Refusal } from '../numeric';
import type { RatioInterval } from '../ratio';
import type { Yardstick } from '../retention';
import { diagnose, type Diagnosis } from '../separation';
import { askedAbout } from './eligible';
import { gainRows, type GainRow } from './gain-rows';
import { patientContrasts } from './patient-outcome';
import type { PreparedQuestion } from './prepared-question';
import { readClock, tested } from './separate-gain';
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

/** The growth clock's reading of some gains, or why it could not be fitted. */
export function lastingGain(
  rows: readonly GainRow[],
  yardstick: Yardstick,
  level: number,
): LastingGain | Refusal {
  const clock = readClock(rows, yardstick, level);
  if (isRefusal(clock)) return clock;
  const { fit, share } = clock;
  return {
    lasting: tested(fit.lasting),
    passing: tested(fit.passing),
    share: { estimate: share.estimate, interval: share.interval },
    diagnosis: diagnose(fit, share),
  };
}

/** The same for a whole question. */
export function lastingGainOf({ study, question, yardstick }: PreparedQuestion): LastingGain | Refusal {
  const contrasts = askedAbout(study, question)
    .filter(({ patient }) => patient.consentFollowUp)
    .flatMap((history) => patientContrasts(history, question, yardstick) ?? []);
  return lastingGain(gainRows(contrasts, yardstick), yardstick, question.level);
}

import {
  answerPrepared,
  planning,
  prepareQuestion,
  sensitivity,
  type PreparedQuestion,
} from '@longhold/core/answers';
import { generateDemo } from '@longhold/demo';
import { absenceAnswer } from '../../../packages/core/src/answers/absence';
import { drawnLosses } from '../../../packages/core/src/answers/drawn-losses';
import { askedAbout } from '../../../packages/core/src/answers/eligible';
import { patientContrasts, type PatientContrasts } from '../../../packages/core/src/answers/patient-outcome';
import { survivalGroups } from '../../../packages/core/src/answers/survival-groups';
import type { SpeedCase } from './speed-case';

const SIZES = [100, 1000, 10_000];
/** As few as a question may have: what is timed here is not the resampling. */
const RESAMPLES = 50;

function prepared(patients: number): PreparedQuestion {
  const { study, today } = generateDemo({ seed: 7, patients });
  return prepareQuestion(study, { asOf: today, resamples: RESAMPLES, filmFactor: 1 });
}

function speedCase(
  name: string,
  wanted: string,
  work: (question: PreparedQuestion) => () => unknown,
): SpeedCase {
  return { name, wanted, sizes: SIZES, prepare: (patients) => ({ ours: work(prepared(patients)) }) };
}

function contrastsOf({ study, question, yardstick }: PreparedQuestion): PatientContrasts[] {
  return askedAbout(study, question).flatMap(
    (history) => patientContrasts(history, question, yardstick) ?? [],
  );
}

/** Parts of an answer over the invented study; sizes are treated patients. */
export const ANSWER_SPEED: readonly SpeedCase[] = [
  speedCase(
    'Answer: planning of a study',
    'under 1 s for 10,000',
    (question) => () => planning(question, {}),
  ),
  speedCase(
    'Answer: sensitivity, all variants',
    'a few seconds for 10,000',
    (question) => () => sensitivity(question),
  ),
  speedCase('Answer: bounds and tipping points', 'under 1 s for 10,000', (question) => {
    const { patients, survival } = answerPrepared(question);
    const consenting = askedAbout(question.study, question.question).filter(
      ({ patient }) => patient.consentFollowUp,
    );
    const contrasts = contrastsOf(question);
    return () => absenceAnswer(consenting, patients, contrasts, question, survival);
  }),
  speedCase('Answer: groups, their curves, tests and ratios', 'under 1 s for 10,000', (question) => {
    const { patients } = answerPrepared(question);
    const drawn = drawnLosses(contrastsOf(question), question);
    const hooks = { progress: () => undefined, shouldStop: () => false };
    return () => survivalGroups(patients, question.question, drawn, hooks);
  }),
];

import { answerOutcome, type OutcomeAnswer } from '@longhold/core/answers';
import { ratioIsIn, type RatioInterval } from '@longhold/core/ratio';
import { generateDemo, type Demo } from '@longhold/demo';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';

type Outcomes = Record<string, Outcome[]>;

const LARGEST_SEED = 2 ** 31 - 1;

/** Whole invented studies as docs/demo.md plants them, answered as on the screen. */
export const MAIN_JOB_COVERAGE: readonly JointCoverageStudy[] = [40, 120].map((patients) => ({
  situation: `invented study of ${patients} treated patients, Co-Gn, threshold 75 %`,
  level: 0.95,
  replicates: 500,
  trials(random) {
    const demo = generateDemo({ seed: random.integer(LARGEST_SEED), patients });
    const answer = answerOutcome(demo.study, { measure: 'Co-Gn', resamples: 50 });
    const outcomes: Outcomes = {};
    noteGroup(outcomes, demo, answer);
    notePatients(outcomes, demo, answer);
    noteError(outcomes, demo, answer);
    return outcomes;
  },
}));

function note(outcomes: Outcomes, name: string, outcome: Outcome): void {
  (outcomes[name] ??= []).push(outcome);
}

function noteGroup(outcomes: Outcomes, { truth }: Demo, answer: OutcomeAnswer): void {
  const expected = truth.expected.overall;
  note(outcomes, 'mean gain of the group', outcomeOf(expected.meanGainAtEnd, answer.gain?.limits ?? null));
  for (const { year, share } of expected.retained) {
    const found = answer.retained.find((row) => row.year === year)?.share;
    note(outcomes, `retained share of the group, year ${year}`, ratioOutcome(share, found?.interval ?? null));
    const above = answer.above.find((row) => row.year === year)?.corrected;
    const standing = expected.survival.adjustedGain.find((point) => point.year === year)?.survival;
    if (standing !== undefined) {
      note(
        outcomes,
        `share above the threshold, no rule, year ${year}`,
        outcomeOf(standing, above?.limits ?? null),
      );
    }
  }
}

function notePatients(outcomes: Outcomes, { truth }: Demo, answer: OutcomeAnswer): void {
  const planted = new Map(truth.patients.map((patient) => [patient.code, patient.gainAtEnd]));
  for (const { code, gain } of answer.patients) {
    const gainAtEnd = planted.get(code);
    if (gain !== null && gainAtEnd != null)
      note(outcomes, 'gain of one patient', outcomeOf(gainAtEnd, gain.limits));
  }
}

function noteError(outcomes: Outcomes, { truth }: Demo, answer: OutcomeAnswer): void {
  // Values are rounded to 0.1, which adds the variance of a uniform error of that width.
  const planted = Math.hypot(truth.retracingSd['Co-Gn'], 0.1 / Math.sqrt(12));
  note(
    outcomes,
    "method error (Dahlberg's)",
    outcomeOf(planted, answer.methodError.duplicates?.dahlbergLimits ?? null),
  );
}

function ratioOutcome(truth: number, interval: RatioInterval | null): Outcome {
  if (interval === null) return 'undefined';
  if (interval.kind === 'bounded') return outcomeOf(truth, interval);
  return ratioIsIn(interval, truth) ? 'covered' : 'truth-above';
}

import { lastingGainOf, prepareQuestion } from '@longhold/core/answers';
import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import { ratioIsIn } from '@longhold/core/ratio';
import { patientHistorySchema, type PatientHistory, type Sex } from '@longhold/core/records';
import {
  diagnose,
  fadingShare,
  fitFadingPart,
  type FadingSeries,
  type PartEstimate,
} from '@longhold/core/separation';
import { growthSince8, growthVelocity } from '@longhold/demo';
import { outcomeOf, type JointCoverageStudy, type Outcome } from './coverage-study';

/** What is planted in one invented study of lasting gain T and of growth brought forward by S years. */
interface Planted {
  readonly patients: number;
  readonly lasting: { readonly mean: number; readonly sd: number };
  readonly forward: { readonly mean: number; readonly sd: number };
  /** Longest possible follow-up, years; each patient's own is drawn evenly up to it. */
  readonly longest: number;
  /** Whether a patient comes no more, from the true and the measured share kept at the latest visit. */
  readonly leaves: (trueShare: number, measuredShare: number) => boolean;
}

/** Covered: what it claims firmly is so. */
const READING = 'reading (covered: not firmly wrong)';

const NEVER = (): boolean => false;
const BOTH = { lasting: { mean: 2.5, sd: 1.6 }, forward: { mean: 0.7, sd: 0.35 } };
const OWN_RATE_SD = 0.2;
const ERROR_SD = 0.7;

const SITUATIONS: readonly (readonly [name: string, planted: Planted])[] = [
  ['120 patients, both parts', { ...BOTH, patients: 120, longest: 8, leaves: NEVER }],
  ['60 patients, both parts', { ...BOTH, patients: 60, longest: 8, leaves: NEVER }],
  ['15 patients, both parts', { ...BOTH, patients: 15, longest: 8, leaves: NEVER }],
  [
    '60 patients, all of it lasting',
    { patients: 60, lasting: { mean: 3.5, sd: 1.5 }, forward: { mean: 0, sd: 0 }, longest: 8, leaves: NEVER },
  ],
  [
    '60 patients, all of it brought forward',
    { patients: 60, lasting: { mean: 0, sd: 0 }, forward: { mean: 1.3, sd: 0.4 }, longest: 8, leaves: NEVER },
  ],
  [
    '60 patients, both parts, at most 2 years of follow-up',
    { ...BOTH, patients: 60, longest: 2.5, leaves: NEVER },
  ],
  [
    '60 patients, both parts, those measured below half of their gain mostly stay away afterwards',
    { ...BOTH, patients: 60, longest: 8, leaves: (_, measured) => measured < 0.5 },
  ],
  [
    '60 patients, both parts, those truly below half of their gain stay away at once, unseen',
    { ...BOTH, patients: 60, longest: 8, leaves: (share) => share < 0.5 },
  ],
];

/** What is planted in one series of gains of which a part fades with time. */
interface PlantedFading {
  readonly patients: number;
  readonly tau: number;
  readonly lasting: number;
  readonly fading: number;
  /** Longest possible follow-up, years; each patient's own is drawn evenly from 1 year up to it. */
  readonly longest: number;
}

const FADING: readonly (readonly [name: string, planted: PlantedFading])[] = [
  ['120 patients, tau 1.5 years', { patients: 120, tau: 1.5, lasting: 2.5, fading: 1.5, longest: 8 }],
  ['60 patients, tau 1.5 years', { patients: 60, tau: 1.5, lasting: 2.5, fading: 1.5, longest: 8 }],
  ['20 patients, tau 1.5 years', { patients: 20, tau: 1.5, lasting: 2.5, fading: 1.5, longest: 8 }],
  ['60 patients, tau 4 years', { patients: 60, tau: 4, lasting: 2.5, fading: 1.5, longest: 8 }],
  ['60 patients, tau 5 of 5 years', { patients: 60, tau: 5, lasting: 2.5, fading: 2.5, longest: 5 }],
  [
    '60 patients, nothing lasts, tau 6 of 5 years',
    { patients: 60, tau: 6, lasting: 0, fading: 3, longest: 5 },
  ],
  [
    '60 patients, nothing lasts, tau 2.5 of 5 years',
    { patients: 60, tau: 2.5, lasting: 0, fading: 3, longest: 5 },
  ],
  ['60 patients, nothing fades', { patients: 60, tau: 2, lasting: 3, fading: 0, longest: 5 }],
];

function fadingTrial(planted: PlantedFading, random: RandomStream): Record<string, Outcome[]> {
  const { lasting, fading, tau } = planted;
  const fit = fitFadingPart(fadingSeries(planted, random));
  const share = lasting / (lasting + fading);
  if (isRefusal(fit)) {
    return Object.fromEntries(
      ['lasting gain', 'fading gain', 'time constant tau', 'lasting share'].map((name) => [
        name,
        ['undefined'],
      ]),
    );
  }
  const found = fadingShare(fit);
  const outcomes: Record<string, Outcome[]> = {
    'lasting gain': [partOutcome(lasting, fit.lasting)],
    'gain at the end': [outcomeOf(lasting + fading, found.gainAtEnd.limits)],
    'lasting share': [
      found.interval.kind === 'whole-line'
        ? 'open'
        : ratioIsIn(found.interval, share)
          ? 'covered'
          : share < found.estimate
            ? 'truth-below'
            : 'truth-above',
    ],
    [READING]: [isFirmlyWrong(diagnose(fit, found), share) ? 'truth-above' : 'covered'],
  };
  outcomes['fading gain'] = [partOutcome(fading, fit.passing)];
  // Where nothing fades there is no tau to be found.
  if (fading > 0)
    outcomes['time constant tau'] = [outcomeOf(tau, { lower: fit.tauLower, upper: fit.tauUpper })];
  return outcomes;
}

function partOutcome(truth: number, { lower, upper }: PartEstimate): Outcome {
  return lower === null || upper === null ? 'open' : outcomeOf(truth, { lower, upper });
}

function fadingSeries(
  { patients, tau, longest, ...mean }: PlantedFading,
  random: RandomStream,
): FadingSeries {
  const series = { patient: [] as number[], gain: [] as number[], time: [] as number[] };
  for (let i = 0; i < patients; i++) {
    const lasting = mean.lasting + 1.5 * random.normal();
    const fading = mean.fading === 0 ? 0 : mean.fading + 0.8 * random.normal();
    const horizon = 1 + (longest - 1) * random.uniform();
    for (let time = 0; time <= horizon; time++) {
      series.patient.push(i);
      series.time.push(time);
      series.gain.push(lasting + fading * Math.exp(-time / tau) + ERROR_SD * random.normal());
    }
  }
  return series;
}

/** Invented studies with an untreated series of their own, so that the growth curve is estimated too. */
export const SEPARATION_COVERAGE: readonly JointCoverageStudy[] = [
  ...SITUATIONS.map(([situation, planted]) => ({
    situation,
    level: 0.95,
    replicates: 300,
    trials: (random: RandomStream) => trial(planted, random),
  })),
  ...FADING.map(([situation, planted]) => ({
    situation: `fading part, ${situation}`,
    level: 0.95,
    replicates: 300,
    trials: (random: RandomStream) => fadingTrial(planted, random),
  })),
];

function trial(planted: Planted, random: RandomStream): Record<string, Outcome[]> {
  const treated = Array.from({ length: planted.patients }, (_, i) =>
    treatedPatient(`T${i}`, planted, random),
  );
  const untreated = Array.from({ length: 40 }, (_, i) => untreatedChild(`U${i}`, random));
  const study = [...treated.map(({ history }) => history), ...untreated];
  const truth = { lasting: planted.lasting.mean, forward: planted.forward.mean };
  const velocity = treated.reduce((sum, one) => sum + one.velocityAtEnd, 0) / treated.length;
  const share = truth.lasting / (truth.lasting + truth.forward * velocity);
  const found = lastingGainOf(prepareQuestion(study, { measure: 'Co-Gn' }));
  if (isRefusal(found)) {
    return {
      'lasting gain': ['undefined'],
      'years brought forward': ['undefined'],
      'lasting share': ['undefined'],
    };
  }
  const { interval } = found.share;
  return {
    'lasting gain': [outcomeOf(truth.lasting, found.lasting.limits)],
    'years brought forward': [outcomeOf(truth.forward, found.passing.limits)],
    'lasting share': [
      ratioIsIn(interval, share) ? 'covered' : share < found.share.estimate ? 'truth-below' : 'truth-above',
    ],
    [READING]: [isFirmlyWrong(found.diagnosis, share) ? 'truth-above' : 'covered'],
  };
}

/** A reading that claims what is not so. Doubt is never wrong. */
function isFirmlyWrong(diagnosis: string, share: number): boolean {
  const lastingClaimed = diagnosis === 'lasting' || diagnosis === 'both' || diagnosis === 'lasting-shown';
  const forwardClaimed =
    diagnosis === 'brought-forward' || diagnosis === 'both' || diagnosis === 'forward-shown';
  if (lastingClaimed && share === 0) return true;
  if (forwardClaimed && share === 1) return true;
  return (diagnosis === 'lasting' && share < 0.75) || (diagnosis === 'brought-forward' && share > 0.25);
}

export function drawSex(random: RandomStream): Sex {
  return random.uniform() < 0.52 ? 'female' : 'male';
}

function treatedPatient(code: string, planted: Planted, random: RandomStream) {
  const sex = drawSex(random);
  const start = (sex === 'female' ? 12.2 : 13.4) + random.normal();
  const end = start + Math.max(0.4, 0.85 + 0.16 * random.normal());
  const lasting = planted.lasting.mean + planted.lasting.sd * random.normal();
  const forward = planted.forward.mean + planted.forward.sd * random.normal();
  const level = 4 * random.normal();
  const rate = OWN_RATE_SD * random.normal();
  const effect = (age: number): number => lasting + forward * growthVelocity(sex, age);
  const read = (age: number, treated: boolean): number =>
    100 +
    level +
    growthSince8(sex, age) +
    rate * (age - 11) +
    (treated ? effect(age) : 0) +
    ERROR_SD * random.normal();
  const first = read(start, false);
  const ages = [start, end];
  const values = [first, read(end, true)];
  const horizon = planted.longest * random.uniform();
  const gained = (values[1] ?? NaN) - first - (growthSince8(sex, end) - growthSince8(sex, start));
  for (let year = 1; year <= horizon; year++) {
    const age = end + year + 0.07 * random.normal();
    const kept = effect(age) / effect(end);
    const measured =
      ((values.at(-1) ?? NaN) - first - (growthSince8(sex, ages.at(-1) ?? NaN) - growthSince8(sex, start))) /
      gained;
    if (planted.leaves(kept, year === 1 ? 1 : measured)) break;
    if (random.uniform() < 0.18) continue;
    ages.push(age);
    values.push(read(age, true));
  }
  return { velocityAtEnd: growthVelocity(sex, end), history: historyOf(code, sex, 'treated', ages, values) };
}

export function untreatedChild(code: string, random: RandomStream): PatientHistory {
  const sex = drawSex(random);
  const level = 4 * random.normal();
  const rate = OWN_RATE_SD * random.normal();
  const ages = Array.from({ length: 12 }, (_, i) => 8 + i + 0.1 * random.normal()).filter(
    () => random.uniform() > 0.12,
  );
  const values = ages.map(
    (age) => 100 + level + growthSince8(sex, age) + rate * (age - 11) + ERROR_SD * random.normal(),
  );
  return historyOf(code, sex, 'untreated', ages, values);
}

export function historyOf(
  code: string,
  sex: Sex,
  group: 'treated' | 'untreated',
  ages: readonly number[],
  values: readonly number[],
  measure = 'Co-Gn',
): PatientHistory {
  const kinds = group === 'treated' ? (['start', 'end_of_active'] as const) : [];
  return patientHistorySchema.parse({
    patient: {
      code,
      sex,
      birthDate: null,
      group,
      protocol: null,
      expansion: null,
      maturityStart: null,
      treatmentStart: null,
      activeEnd: null,
      consentFollowUp: true,
      consentPooling: false,
    },
    visits: ages.map((ageYears, i) => ({
      kind: kinds[i] ?? 'follow_up',
      date: null,
      ageYears,
      filmFactor: 1,
      measurements: [{ measure, value: values[i] ?? NaN, unit: 'mm', replicate: 1, examiner: '' }],
    })),
    events: [],
  });
}

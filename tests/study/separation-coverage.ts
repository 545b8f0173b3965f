import { lastingGainOf, prepareQuestion } from '@longhold/core/answers';
import { isRefusal, type RandomStream } from '@longhold/core/numeric';
import { ratioIsIn } from '@longhold/core/ratio';
import { patientHistorySchema, type PatientHistory, type Sex } from '@longhold/core/records';
import { fitFadingPart } from '@longhold/core/separation';
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

/** Series of gains of which a part fades with time. */
const FADING: readonly (readonly [name: string, patients: number, tau: number])[] = [
  ['120 patients, fading part, tau 1.5 years', 120, 1.5],
  ['60 patients, fading part, tau 1.5 years', 60, 1.5],
  ['20 patients, fading part, tau 1.5 years', 20, 1.5],
  ['60 patients, fading part, tau 4 years', 60, 4],
];

function fadingTrial(patients: number, tau: number, random: RandomStream): Record<string, Outcome[]> {
  const truth = { lasting: 2.5, fading: 1.5 };
  const series = { patient: [] as number[], gain: [] as number[], time: [] as number[] };
  for (let i = 0; i < patients; i++) {
    const lasting = truth.lasting + 1.5 * random.normal();
    const fading = truth.fading + 0.8 * random.normal();
    const horizon = 1 + 7 * random.uniform();
    for (let time = 0; time <= horizon; time++) {
      series.patient.push(i);
      series.time.push(time);
      series.gain.push(lasting + fading * Math.exp(-time / tau) + ERROR_SD * random.normal());
    }
  }
  const fit = fitFadingPart(series);
  if (isRefusal(fit) || fit.tauAtEdge !== null) {
    return {
      'lasting gain': ['undefined'],
      'fading gain': ['undefined'],
      'time constant tau': ['undefined'],
    };
  }
  return {
    'lasting gain': [outcomeOf(truth.lasting, fit.lasting)],
    'fading gain': [outcomeOf(truth.fading, fit.passing)],
    'time constant tau': [outcomeOf(tau, { lower: fit.tauLower, upper: fit.tauUpper })],
  };
}

/** Invented studies with an untreated series of their own, so that the growth curve is estimated too. */
export const SEPARATION_COVERAGE: readonly JointCoverageStudy[] = [
  ...SITUATIONS.map(([situation, planted]) => ({
    situation,
    level: 0.95,
    replicates: 300,
    trials: (random: RandomStream) => trial(planted, random),
  })),
  ...FADING.map(([situation, patients, tau]) => ({
    situation,
    level: 0.95,
    replicates: 300,
    trials: (random: RandomStream) => fadingTrial(patients, tau, random),
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
    'reading (covered: not firmly wrong)': [
      isFirmlyWrong(found.diagnosis, share) ? 'truth-above' : 'covered',
    ],
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

function drawSex(random: RandomStream): Sex {
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

function untreatedChild(code: string, random: RandomStream): PatientHistory {
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

function historyOf(
  code: string,
  sex: Sex,
  group: 'treated' | 'untreated',
  ages: readonly number[],
  values: readonly number[],
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
      measurements: [{ measure: 'Co-Gn', value: values[i] ?? NaN, unit: 'mm', replicate: 1, examiner: '' }],
    })),
    events: [],
  });
}

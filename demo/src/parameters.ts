import type { IsoDate, Sex } from '@longhold/core/records';
import type { FilmSize, ProtocolModel } from './model-types';

/**
 * Every number planted in the invented study. All are Longhold's own choices; none comes from a patient.
 * Common practice, no source, guided three of them: about 2 to 2.5 mm of mandibular length from a conventional
 * fixed functional appliance, 5 to 7 mm from a plate-anchored one, and about 10 months of active treatment.
 * `docs/demo.md` states the model that uses these numbers; keep the two in step (a test compares them).
 */

/** The day on which the invented study is read. */
export const DEMO_TODAY: IsoDate = '2026-06-30';

/** What the program opens when it is started without a store of its own. */
export const DEMO_DEFAULTS = { seed: 7, patients: 120 } as const;

/** Untreated children for each treated patient. */
export const UNTREATED_PER_TREATED = 0.4;

/**
 * Mean growth velocity of mandibular length (Co-Gn) in mm per year at age a:
 * base / (1 + exp((a - endAge) / endWidth)) + spurt * 4 L (1 - L), with L = 1 / (1 + exp(-(a - peakAge) / peakWidth)).
 */
export const GROWTH_CURVE: Readonly<Record<Sex, GrowthCurveParameters>> = {
  female: {
    sizeAt8: 102.6,
    base: 2.3,
    endAge: 14.6,
    endWidth: 0.9,
    spurt: 0.9,
    peakAge: 11.9,
    peakWidth: 0.7,
  },
  male: {
    sizeAt8: 104.4,
    base: 2.3,
    endAge: 16.8,
    endWidth: 0.9,
    spurt: 1.6,
    peakAge: 13.9,
    peakWidth: 0.75,
  },
};

export interface GrowthCurveParameters {
  /** Mean Co-Gn of untreated children at 8 years, mm. */
  readonly sizeAt8: number;
  /** Velocity before growth ends, mm per year. */
  readonly base: number;
  /** Age at which half of that velocity is gone, and how gradually it goes; years. */
  readonly endAge: number;
  readonly endWidth: number;
  /** Extra velocity at the peak of the pubertal spurt, mm per year. */
  readonly spurt: number;
  /** Age of the peak, and how wide it is; years. */
  readonly peakAge: number;
  readonly peakWidth: number;
}

/** A child's own growth rate departs from the mean by a normal amount with this SD (mm of Co-Gn per year), for life. */
export const OWN_RATE_SD = 0.2;
/** Age at which a child's own rate has made no difference yet, years. Only shifts the child's level. */
export const OWN_RATE_PIVOT = 11;

/** Share of the variance of a length level that all lengths of one child have in common. */
export const SHARED_SIZE = 0.5;

export const PROTOCOLS = {
  PLATE: {
    description: 'bone-plate-anchored, fixed (invented)',
    lasting: { mean: 4, sd: 1.8 },
    forward: { mean: 0.7, sd: 0.4 },
    upperTeethBack: { mean: 0.5, sd: 0.4 },
    lowerTeethForward: { mean: 0.2, sd: 0.3 },
    expansion: 0.35,
  },
  FIXED: {
    description: 'tooth-borne, fixed (invented)',
    lasting: { mean: 1.1, sd: 0.7 },
    forward: { mean: 0.4, sd: 0.3 },
    upperTeethBack: { mean: 1.5, sd: 0.6 },
    lowerTeethForward: { mean: 1.6, sd: 0.7 },
    expansion: 0.45,
  },
  REMOVABLE: {
    description: 'tooth-borne, removable (invented)',
    lasting: { mean: 0.8, sd: 0.8 },
    forward: { mean: 0.4, sd: 0.3 },
    upperTeethBack: { mean: 1.4, sd: 0.7 },
    lowerTeethForward: { mean: 1.2, sd: 0.7 },
    expansion: 0.2,
  },
} as const satisfies Record<string, ProtocolModel>;
export type ProtocolCode = keyof typeof PROTOCOLS;
export const PROTOCOL_CODES = ['PLATE', 'FIXED', 'REMOVABLE'] as const satisfies readonly ProtocolCode[];

/** Values of calibrated images are at natural size. */
const NATURAL_SIZE = { filmFactor: 1, filmFactorEvidence: 'calibrated_image' } as const satisfies FilmSize;

/**
 * The invented clinics: letter before the patient code, share of the treated patients, share of each protocol, and what
 * lengths on their films are multiplied by to give natural size.
 */
export const CLINICS = [
  {
    letter: 'A',
    name: 'Amberhollow (invented)',
    share: 0.45,
    protocols: { PLATE: 0.6, FIXED: 0.3, REMOVABLE: 0.1 },
    films: NATURAL_SIZE,
  },
  {
    letter: 'B',
    name: 'Brindlemere (invented)',
    share: 0.35,
    protocols: { PLATE: 0.4, FIXED: 0.4, REMOVABLE: 0.2 },
    films: { filmFactor: 0.912, filmFactorEvidence: 'apparatus_distances' },
  },
  {
    letter: 'C',
    name: 'Copperfen (invented)',
    share: 0.2,
    protocols: { PLATE: 0.2, FIXED: 0.4, REMOVABLE: 0.4 },
    films: NATURAL_SIZE,
  },
] as const;
/** Films of the untreated comparison series. */
export const UNTREATED_FILMS: FilmSize = NATURAL_SIZE;
/** Letter before the codes of the untreated comparison series. */
export const UNTREATED_LETTER = 'U';

/** Of tooth movement, the share that stays; the rest fades as exp(-t / fadingYears) after active treatment. */
export const TOOTH_MOVEMENT = { lastingShare: 0.6, fadingYears: 1.5 };

export const TREATED = {
  femaleShare: 0.52,
  /** Age at start, years; drawn again until it lies within the limits. */
  ageAtStart: { female: { mean: 12.4, sd: 1.1 }, male: { mean: 13.2, sd: 1.1 }, youngest: 10, oldest: 15 },
  /** Length of active treatment, months of 30.4375 days; drawn again until at least `shortest`. */
  activeMonths: { mean: 10, sd: 2, shortest: 5 },
  /** Active treatment ended evenly over this many years before the day of reading. */
  endedWithinYears: 8,
  stillInTreatment: 0.03,
  /** Start records lie up to this many days before treatment, end records up to this many after it. */
  startRecordsDays: 21,
  endRecordsDays: 14,
  noConsentFollowUp: 0.04,
  noConsentPooling: 0.15,
  maturityReadingSd: 0.5,
  maturityMissing: 0.04,
  expansionMissing: 0.02,
} as const;

/** Yearly recall of the treated. All of it is drawn without regard to the outcome. */
export const RECALL = {
  /** Chance that a yearly visit is missed although the patient can still be reached. */
  missed: 0.18,
  /** Of the missed visits, the share at which the patient declined; the rest have no known reason. */
  missedBecauseDeclined: 0.3,
  /** Spread of visits about the anniversary, days; no visit is more than `earliestDays` early. */
  jitterDays: 25,
  earliestDays: 60,
  /** Chance that a visit comes late by a further exponential delay, and the latest it can be, days. */
  late: 0.15,
  lateMeanDays: 70,
  latestDays: 165,
  /** Yearly chances of moving away, withdrawing, and (from the second year) being treated again. */
  moved: 0.025,
  withdrew: 0.012,
  treatedAgain: 0.02,
  /** A second course adds this much Co-Gn effect (mm) evenly over this many years. */
  secondCourse: { mm: 2, years: 0.8 },
  /** Recalls at which no radiograph was justified: only overjet, overbite and molar relation are recorded. */
  withoutRadiograph: 0.15,
} as const;

export const UNTREATED = {
  femaleShare: 0.5,
  entryAge: { youngest: 7.7, oldest: 9 },
  leavingAge: { youngest: 16, oldest: 20.5 },
  /** The series was completed evenly over this many years before the day of reading. */
  completedWithinYears: 6,
  missed: 0.12,
  jitterDays: 25,
  noConsentPooling: 0.05,
} as const;

/** The invented growth table of Co-Gn that comes with the study. */
export const GROWTH_TABLE = {
  name: 'Demo table',
  ages: [8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18],
  /** Children behind each mean. */
  children: 150,
  filmFactor: 0.92,
} as const;

/** How readings are taken at any visit with a radiograph. */
export const READINGS = {
  measureNotTaken: 0.02,
  /** Visits at which a radiograph was taken again because the first was blurred; the second is read once. */
  filmTakenAgain: 0.04,
  /** Visits at which the same examiner reads everything twice. */
  duplicates: 0.12,
  /** Visits at which a second examiner reads everything once more, with the same error and no bias. */
  secondExaminer: 0.03,
  examiners: ['E1', 'E2'] as const,
  decimals: 1,
} as const;

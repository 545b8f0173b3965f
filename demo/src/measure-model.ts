import type { Group } from '@longhold/core/records';
import type { NormalSpread } from './model-types';

/** The measures of the invented study, in the order in which they are written to the files. */
export const DEMO_MEASURES = [
  'Co-Gn',
  'Co-Go',
  'Go-Pog',
  'SNA',
  'SNB',
  'ANB',
  'Wits',
  'overjet',
  'overbite',
  'molar',
  'ss-OLp',
  'pg-OLp',
  'is-OLp',
  'ii-OLp',
  'ms-OLp',
  'mi-OLp',
  'co-OLp',
] as const;
export type DemoMeasure = (typeof DEMO_MEASURES)[number];
export type MeasureValues = Record<DemoMeasure, number>;

/** Recorded at the chair, also when no radiograph is justified. */
export const WITHOUT_RADIOGRAPH: ReadonlySet<DemoMeasure> = new Set(['overjet', 'overbite', 'molar']);

/**
 * How a measure follows the child's growth and the treatment: level + growth * G + effect * E, where G is the
 * child's growth of Co-Gn since 8 years and E the effect of treatment on Co-Gn, both in mm.
 */
export interface Response {
  readonly growth: number;
  readonly effect: number;
}

export const RESPONSES = {
  'Co-Gn': { growth: 1, effect: 1 },
  'Co-Go': { growth: 0.45, effect: 0.45 },
  'Go-Pog': { growth: 0.55, effect: 0.55 },
  SNA: { growth: 0.03, effect: -0.05 },
  SNB: { growth: 0.11, effect: 0.35 },
  Wits: { growth: 0.02, effect: -0.6 },
  'ss-OLp': { growth: 0.28, effect: -0.1 },
  'pg-OLp': { growth: 0.45, effect: 0.6 },
  'co-OLp': { growth: 0.45, effect: 0.35 },
} as const satisfies Partial<Record<DemoMeasure, Response>>;

/** Teeth grow along with the upper jaw base; movement of the molars is this share of that of the incisors. */
export const MOLAR_SHARE = 0.7;

interface LevelModel {
  /** Mean at 8 years in untreated children and in those treated (before treatment). */
  readonly mean: Readonly<Record<Group, number>>;
  readonly sd: number;
}

/** Levels at 8 years. Boys' lengths are larger by `growth` times the sexes' difference in Co-Gn. */
export const LEVELS = {
  /** Added to the sex's own mean Co-Gn at 8 years. */
  mandible: { mean: { untreated: 0, treated: -2 }, sd: 4 },
  ramus: { mean: { untreated: 48, treated: 47 }, sd: 2.6 },
  corpus: { mean: { untreated: 64, treated: 62.8 }, sd: 3 },
  sna: { mean: { untreated: 80.8, treated: 80.8 }, sd: 3 },
  anb: { mean: { untreated: 3.3, treated: 5.8 }, sd: 1.5 },
  wits: { mean: { untreated: 1, treated: 4.5 }, sd: 1.8 },
  upperBase: { mean: { untreated: 70, treated: 70 }, sd: 3 },
  /** Lower base minus upper base. */
  baseDifference: { mean: { untreated: 1, treated: -2 }, sd: 2.2 },
  condyle: { mean: { untreated: 8, treated: 8.5 }, sd: 2.2 },
  /** Upper incisor ahead of, and upper molar behind, the upper base. */
  upperIncisor: { mean: { untreated: 8, treated: 8.5 }, sd: 1.2 },
  upperMolar: { mean: { untreated: -22, treated: -21.5 }, sd: 1.5 },
  overjet: { mean: { untreated: 3, treated: 7.5 }, sd: 1.3 },
  molar: { mean: { untreated: -0.5, treated: 2 }, sd: 1 },
  overbite: { mean: { untreated: 3, treated: 4.5 }, sd: 1.4 },
} as const satisfies Record<string, LevelModel>;
export type LevelName = keyof typeof LEVELS;
/** Levels that share the child's size. */
export const SIZED_LEVELS: ReadonlySet<LevelName> = new Set(['mandible', 'ramus', 'corpus', 'upperBase']);

/**
 * Error of reading one film once: independent normal errors with these SDs for each point or distance, and two
 * errors common to all measures that hang on one landmark or line. Derived measures are differences of readings.
 */
export const ERROR_SDS = {
  'Co-Gn': 0.7,
  'Co-Go': 1,
  'Go-Pog': 0.9,
  SNA: 0.35,
  SNB: 0.35,
  Wits: 1.1,
  overbite: 0.4,
  'ss-OLp': 0.5,
  'pg-OLp': 0.5,
  'is-OLp': 0.28,
  'ii-OLp': 0.28,
  'ms-OLp': 0.35,
  'mi-OLp': 0.35,
  'co-OLp': 0.9,
} as const satisfies Partial<Record<DemoMeasure, number>>;
/** Error of nasion, common to SNA and SNB (degrees). */
export const NASION_ERROR_SD = 0.45;
/** Error of the perpendicular to the occlusal line, common to all distances to it (mm); the condyle lies on its other side. */
export const LINE_ERROR_SD = 0.7;

/**
 * What a film adds to every reading of it, over and above reading: independent normal errors of each film with these
 * SDs. ANB takes those of SNA and SNB with it.
 */
export const FILM_ERROR_SDS = {
  'Co-Gn': 0.3,
  'Co-Go': 0.6,
  'Go-Pog': 0.5,
  SNA: 0.4,
  SNB: 0.4,
} as const satisfies Partial<Record<keyof typeof ERROR_SDS, number>>;

/** SD of the whole error of one film read once, in the measure's unit, before rounding. */
export function errorSd(measure: DemoMeasure): number {
  return Math.hypot(retracingSd(measure), filmErrorSd(measure));
}

/** SD between films of one visit, beyond reading; 0 for what is not planted and what is read at the chair. */
export function filmErrorSd(measure: DemoMeasure): number {
  if (measure === 'ANB') return Math.hypot(FILM_ERROR_SDS.SNA, FILM_ERROR_SDS.SNB);
  const planted: Partial<Record<DemoMeasure, number>> = FILM_ERROR_SDS;
  return planted[measure] ?? 0;
}

/** SD of the error of reading one film once. */
export function retracingSd(measure: DemoMeasure): number {
  if (measure === 'ANB') return Math.hypot(ERROR_SDS.SNA, ERROR_SDS.SNB);
  if (measure === 'overjet') return Math.hypot(ERROR_SDS['is-OLp'], ERROR_SDS['ii-OLp']);
  if (measure === 'molar') return Math.hypot(ERROR_SDS['ms-OLp'], ERROR_SDS['mi-OLp']);
  return Math.hypot(ERROR_SDS[measure], sharedErrorSd(measure));
}

function sharedErrorSd(measure: DemoMeasure): number {
  if (measure.endsWith('-OLp')) return LINE_ERROR_SD;
  return measure === 'SNA' || measure === 'SNB' ? NASION_ERROR_SD : 0;
}

/** Change of overbite by treatment, mm; it fades as tooth movement does. */
export const OVERBITE_CHANGE: NormalSpread = { mean: -1.5, sd: 0.7 };

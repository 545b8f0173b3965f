import { z } from 'zod';
import {
  addDays,
  DAYS_PER_YEAR,
  daysBetween,
  yearsBetween,
  type IsoDate,
  type PatientHistory,
  type Sex,
  type Study,
} from '../records';

/** How a clinic recalls. All defaults are common practice, no source; a clinic sets its own. */
export const recallSettingsSchema = z.strictObject({
  /** Years after the end of active treatment at which a patient is expected. */
  years: z.array(z.int().min(1).max(30)).min(1).default([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]),
  /** Days before and after the anniversary within which a visit counts for it. */
  windowDays: z.int().min(7).max(182).default(91),
  /** Days after the anniversary from which a patient who was not seen counts as lost to follow-up. */
  lostAfterDays: z.int().min(183).max(3650).default(548),
});
export type RecallSettings = z.infer<typeof recallSettingsSchema>;

export const recallStateSchema = z.enum(['overdue', 'due', 'upcoming', 'lost', 'complete', 'stopped']);
export type RecallState = z.infer<typeof recallStateSchema>;

/** One treated patient's place in the recall. */
export interface RecallRow {
  readonly code: string;
  readonly sex: Sex;
  readonly protocol: string | null;
  /** Age in years on the day of the list; null without a birth date. */
  readonly ageNow: number | null;
  readonly activeEnd: IsoDate;
  readonly lastVisit: IsoDate | null;
  /** The visit now awaited: its year, its anniversary and its window; null where none is. */
  readonly dueYear: number | null;
  readonly dueDate: IsoDate | null;
  readonly windowOpens: IsoDate | null;
  readonly windowCloses: IsoDate | null;
  readonly state: RecallState;
  /** Months since the window closed; null where nothing is late. */
  readonly monthsLate: number | null;
  /** Why a recall is stopped or complete; null otherwise. */
  readonly why: string | null;
}

/** The recall list of a study on one day. */
export interface RecallList {
  readonly asOf: IsoDate;
  readonly counts: Readonly<Record<RecallState, number>>;
  readonly rows: readonly RecallRow[];
  /** Treated patients who cannot be placed in a calendar (no date for the end of active treatment). */
  readonly withoutDates: readonly string[];
}

/**
 * Who is to be called back, on a day. The visit awaited is the first scheduled year after the one that the latest
 * visit counts for. A recall is a clinical visit; the list never says that a radiograph is due.
 */
export function recallList(study: Study, asOf: IsoDate, settings: RecallSettings): RecallList {
  const counts = { overdue: 0, due: 0, upcoming: 0, lost: 0, complete: 0, stopped: 0 };
  const rows: RecallRow[] = [];
  const withoutDates: string[] = [];
  for (const history of study) {
    if (history.patient.group !== 'treated') continue;
    const row = recallRow(history, asOf, settings);
    if (row === null) {
      withoutDates.push(history.patient.code);
      continue;
    }
    counts[row.state]++;
    rows.push(row);
  }
  return { asOf, counts, rows, withoutDates };
}

function recallRow(history: PatientHistory, asOf: IsoDate, settings: RecallSettings): RecallRow | null {
  const { patient } = history;
  const { activeEnd } = patient;
  if (activeEnd === null || activeEnd > asOf) return null;
  const lastVisit = latestVisit(history, asOf);
  const base = {
    code: patient.code,
    sex: patient.sex,
    protocol: patient.protocol,
    ageNow: patient.birthDate === null ? null : yearsBetween(patient.birthDate, asOf),
    activeEnd,
    lastVisit,
  };
  const stopped = whyStopped(history, asOf);
  if (stopped !== null) return { ...base, ...nothingDue('stopped', stopped) };
  const seenFor = lastVisit === null ? 0 : Math.round(yearsBetween(activeEnd, lastVisit));
  const dueYear = settings.years.find((year) => year > seenFor);
  if (dueYear === undefined)
    return { ...base, ...nothingDue('complete', 'the last scheduled year has been seen') };
  return { ...base, ...awaited(activeEnd, dueYear, asOf, settings) };
}

function awaited(activeEnd: IsoDate, dueYear: number, asOf: IsoDate, settings: RecallSettings) {
  const dueDate = addDays(activeEnd, Math.round(dueYear * DAYS_PER_YEAR));
  const windowOpens = addDays(dueDate, -settings.windowDays);
  const windowCloses = addDays(dueDate, settings.windowDays);
  const state = stateOn(asOf, dueDate, windowOpens, windowCloses, settings);
  const late = state === 'overdue' || state === 'lost';
  return {
    dueYear,
    dueDate,
    windowOpens,
    windowCloses,
    state,
    monthsLate: late ? (daysBetween(windowCloses, asOf) / DAYS_PER_YEAR) * 12 : null,
    why: null,
  };
}

function stateOn(
  asOf: IsoDate,
  dueDate: IsoDate,
  windowOpens: IsoDate,
  windowCloses: IsoDate,
  settings: RecallSettings,
): RecallState {
  if (asOf < windowOpens) return 'upcoming';
  if (asOf <= windowCloses) return 'due';
  return daysBetween(dueDate, asOf) > settings.lostAfterDays ? 'lost' : 'overdue';
}

function nothingDue(state: 'stopped' | 'complete', why: string) {
  return {
    dueYear: null,
    dueDate: null,
    windowOpens: null,
    windowCloses: null,
    state,
    monthsLate: null,
    why,
  };
}

/** The latest visit after the end of active treatment up to a day. */
function latestVisit({ visits, patient }: PatientHistory, asOf: IsoDate): IsoDate | null {
  let latest: IsoDate | null = null;
  for (const { kind, date } of visits) {
    if (kind !== 'follow_up' || date === null || date > asOf || date < (patient.activeEnd ?? date)) continue;
    if (latest === null || date > latest) latest = date;
  }
  return latest;
}

const STOPPING_WORDS = {
  withdrew: 'withdrew',
  moved: 'moved away',
  declined: 'declined further recalls',
} as const;

/** Why a patient is not called back: never agreed to it, or an event since, with its day. */
export type RecallStop =
  | { readonly reason: 'no-consent' }
  | { readonly reason: keyof typeof STOPPING_WORDS; readonly date: IsoDate };

/**
 * Whether and why a patient is not to be called back on a day; null where the patient may be. Consent comes first; a
 * later visit takes back that a patient moved or declined, but not a withdrawal.
 */
export function recallStop(history: PatientHistory, asOf: IsoDate): RecallStop | null {
  if (!history.patient.consentFollowUp) return { reason: 'no-consent' };
  const lastVisit = latestVisit(history, asOf);
  for (const { event, date } of history.events) {
    if (event === 'treated_again' || date > asOf) continue;
    const takenBack = event !== 'withdrew' && lastVisit !== null && lastVisit > date;
    if (!takenBack) return { reason: event, date };
  }
  return null;
}

function whyStopped(history: PatientHistory, asOf: IsoDate): string | null {
  const stop = recallStop(history, asOf);
  if (stop === null) return null;
  return stop.reason === 'no-consent'
    ? 'no consent for follow-up'
    : `${STOPPING_WORDS[stop.reason]} on ${stop.date}`;
}

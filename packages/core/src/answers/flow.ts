import {
  lacksFilmFactor,
  visitValue,
  yearsBetween,
  yearsSinceActiveEnd,
  visitOfKind,
  type IsoDate,
  type PatientHistory,
} from '../records';
import type { FlowYear, NotSeenReason } from './answer';

/** Half the width of a year's window, in years: a visit belongs to the anniversary nearest to it. */
const HALF_WINDOW = 0.5;

/** Years that are followed at most; what comes after is not asked for. */
export const MOST_YEARS = 15;

/** What the flow needs to know of one patient. */
interface Followed {
  readonly history: PatientHistory;
  /** Years since the end of active treatment up to which this patient could have been seen. */
  readonly horizon: number;
  /** In order of time, as are the events. */
  readonly visits: readonly {
    readonly years: number;
    readonly usable: boolean;
    readonly unsized: boolean;
  }[];
  readonly events: readonly { readonly years: number; readonly reason: NotSeenReason }[];
}

const REASON_OF_EVENT = {
  treated_again: 'treated-again',
  withdrew: 'withdrew',
  moved: 'moved',
  declined: 'declined',
} as const satisfies Record<PatientHistory['events'][number]['event'], NotSeenReason>;

/**
 * Who was seen in each year after the end of active treatment. A patient is eligible in a year once that year's
 * window, half a year either side of the anniversary, has closed by the day the records are read. Of the eligible,
 * some were seen in the window; the others get the first reason that applies.
 * A patient of an ages-only series has no calendar, so counts as eligible only up to the last visit.
 *
 * @param usable whether the measure could be adjusted for growth at an age for this patient
 */
export function followUpFlow(
  histories: readonly PatientHistory[],
  measureCode: string,
  asOf: IsoDate | null,
  usable: (history: PatientHistory, visitIndex: number) => boolean,
): FlowYear[] {
  const followed = histories.map((history) => readFollowed(history, measureCode, asOf, usable));
  const furthest = followed.reduce((most, { horizon }) => Math.max(most, horizon), 0);
  const last = Math.min(MOST_YEARS, Math.floor(furthest - HALF_WINDOW));
  return Array.from({ length: Math.max(0, last) }, (_, i) => flowOfYear(followed, i + 1));
}

function readFollowed(
  history: PatientHistory,
  measureCode: string,
  asOf: IsoDate | null,
  usable: (history: PatientHistory, visitIndex: number) => boolean,
): Followed {
  const visits = history.visits.flatMap((visit, index) => {
    const years = yearsSinceActiveEnd(history, visit);
    if (visit.kind !== 'follow_up' || years === null) return [];
    return [
      {
        years,
        usable: visitValue(visit, measureCode) !== null && usable(history, index),
        unsized: lacksFilmFactor(visit, measureCode),
      },
    ];
  });
  const end = history.patient.activeEnd ?? visitOfKind(history, 'end_of_active')?.date ?? null;
  const lastVisit = visits.reduce((latest, { years }) => Math.max(latest, years), 0);
  return {
    history,
    visits: visits.sort((a, b) => a.years - b.years),
    horizon: end !== null && asOf !== null ? yearsBetween(end, asOf) : Math.round(lastVisit) + HALF_WINDOW,
    events: end === null ? [] : readEvents(history, end),
  };
}

/** Events in order of time; on one day in order of their names, so that the order in a file decides nothing. */
function readEvents({ events }: PatientHistory, end: IsoDate): Followed['events'] {
  return events
    .map(({ date, event }) => ({ years: yearsBetween(end, date), reason: REASON_OF_EVENT[event] }))
    .sort((a, b) => a.years - b.years || (a.reason < b.reason ? -1 : 1));
}

function flowOfYear(followed: readonly Followed[], year: number): FlowYear {
  const notSeen: Record<NotSeenReason, number> = {
    withdrew: 0,
    moved: 0,
    declined: 0,
    'treated-again': 0,
    'no-consent': 0,
    'not-known': 0,
  };
  const eligible = followed.filter(({ horizon }) => horizon >= year + HALF_WINDOW);
  let seen = 0;
  let measured = 0;
  let seenFactorUnknown = 0;
  for (const patient of eligible) {
    const reason = whyNotUsed(patient, year);
    if (reason !== null) {
      notSeen[reason]++;
      continue;
    }
    seen++;
    const until = treatedAgainAt(patient);
    const inTime = patient.visits.filter(({ years }) => years <= until && inWindow(years, year));
    if (inTime.some((visit) => visit.usable)) measured++;
    else if (inTime.some((visit) => visit.unsized)) seenFactorUnknown++;
  }
  return {
    year,
    eligible: eligible.length,
    seen,
    measured,
    notSeen,
    seenNotMeasured: seen - measured,
    seenFactorUnknown,
  };
}

/** Null for a patient who was seen. Without consent, or only after a second treatment, a visit does not count. */
function whyNotUsed(patient: Followed, year: number): NotSeenReason | null {
  if (!patient.history.patient.consentFollowUp) return 'no-consent';
  const firstVisit = patient.visits.find(({ years }) => inWindow(years, year));
  if (treatedAgainAt(patient) < (firstVisit?.years ?? year + HALF_WINDOW)) return 'treated-again';
  if (firstVisit !== undefined) return null;
  const before = patient.events.filter(({ years }) => years <= year + HALF_WINDOW);
  return before[before.length - 1]?.reason ?? 'not-known';
}

/** Years to the first second treatment; Infinity where there was none. */
function treatedAgainAt({ events }: Followed): number {
  return events.find(({ reason }) => reason === 'treated-again')?.years ?? Infinity;
}

/** Whether a time belongs to a year's window, (year - 0.5, year + 0.5]. */
export function inWindow(years: number, year: number): boolean {
  return years > year - HALF_WINDOW && years <= year + HALF_WINDOW;
}

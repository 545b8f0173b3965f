import type { RandomStream } from '@longhold/core/numeric';
import { addDays, DAYS_PER_YEAR, type IsoDate, type PatientEvent } from '@longhold/core/records';
import { happens } from './draws';
import { DEMO_TODAY, RECALL } from './parameters';
import { drawRecallDelay } from './recall-timing';

/** When a patient was seen after active treatment, and what happened in between. */
export interface FollowUp {
  readonly visits: readonly { readonly date: IsoDate; readonly withRadiograph: boolean }[];
  readonly events: PatientEvent[];
  /** Start of a second course of treatment; null when there was none. */
  readonly secondCourse: IsoDate | null;
}

/** Draws the yearly recalls from the end of active treatment until the day of reading. */
export function drawFollowUp(random: RandomStream, activeEnd: IsoDate): FollowUp {
  const visits: { date: IsoDate; withRadiograph: boolean }[] = [];
  const events: PatientEvent[] = [];
  let secondCourse: IsoDate | null = null;
  for (let year = 1; ; year++) {
    const previous = addDays(activeEnd, Math.round((year - 1) * DAYS_PER_YEAR));
    const due = addDays(activeEnd, Math.round(year * DAYS_PER_YEAR));
    if (due > DEMO_TODAY) return { visits, events, secondCourse };

    /* Events fall well before the anniversary, so that no visit of an earlier year can follow them. */
    const eventDay = addDays(previous, RECALL.latestDays + 1 + random.integer(120));
    if (happens(random, RECALL.moved)) {
      events.push({ date: eventDay, event: 'moved' });
      return { visits, events, secondCourse };
    }
    if (happens(random, RECALL.withdrew)) {
      events.push({ date: eventDay, event: 'withdrew' });
      return { visits, events, secondCourse };
    }
    if (year > 1 && secondCourse === null && happens(random, RECALL.treatedAgain)) {
      secondCourse = eventDay;
      events.push({ date: eventDay, event: 'treated_again' });
    }

    if (happens(random, RECALL.missed)) {
      if (happens(random, RECALL.missedBecauseDeclined)) events.push({ date: due, event: 'declined' });
      continue;
    }
    const date = addDays(due, drawRecallDelay(random));
    const withRadiograph = !happens(random, RECALL.withoutRadiograph);
    if (date <= DEMO_TODAY) visits.push({ date, withRadiograph });
  }
}

import type { IsoDate, PatientHistory, Study } from '../records';

/** The study as it was known on a day: visits and events of later dates are left out. Ages-only visits stay. */
export function studyAsOf(study: Study, asOf: IsoDate | null): Study {
  if (asOf === null) return study;
  const known = (date: IsoDate | null): boolean => date === null || date <= asOf;
  return study.map((history): PatientHistory => {
    const visits = history.visits.filter(({ date }) => known(date));
    const events = history.events.filter(({ date }) => known(date));
    const unchanged = visits.length === history.visits.length && events.length === history.events.length;
    return unchanged ? history : { ...history, visits, events };
  });
}

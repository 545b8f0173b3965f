import { visitOfKind, yearsBetween, type IsoDate, type PatientHistory } from '../records';

/** Fewer absences than this tell nothing of coming back: Longhold's own choice, no source. */
const LEAST_ABSENCES = 10;
/** Absences are told apart by quarters of a year. */
const QUARTERS = 4;

/** A time without a visit: from the end of active treatment or a visit to the next one, or to the day of the question. */
interface Absence {
  readonly years: number;
  /** From its first day to the day of the question, ended or not. */
  readonly begunAgo: number;
  /** Whether it ended with a visit. */
  readonly cameBack: boolean;
}

/** How long a patient has not been seen, in years; null where neither a visit nor the end of active treatment has a date. */
export function absentFor(history: PatientHistory, asOf: IsoDate): number | null {
  const seen = daysSeen(history, asOf);
  const last = seen[seen.length - 1];
  return last === undefined ? null : yearsBetween(last, asOf);
}

/**
 * The chance that a patient who has been absent for so many years comes back within the next one: of all absences in the
 * records that grew so long, the share that ended with a visit within a year more. Absences whose year more is not over
 * by the day of the question tell nothing, ended or not: counting only the ended ones of them would make returns look
 * likelier than they are. Those of patients who since withdrew, moved or declined count as not come back.
 *
 * @returns by years of absence; null where fewer than ten such absences are in the records
 */
export function returnAfterAbsence(
  histories: readonly PatientHistory[],
  asOf: IsoDate,
): (years: number) => number | null {
  const absences = histories.flatMap((history) => absencesOf(history, asOf));
  const known = new Map<number, number | null>();
  return (years) => {
    const length = Math.floor(years * QUARTERS) / QUARTERS;
    let chance = known.get(length);
    if (chance === undefined) {
      const judged = absences.filter((one) => one.years >= length && one.begunAgo >= length + 1);
      const back = judged.filter((one) => one.cameBack && one.years < length + 1).length;
      chance = judged.length < LEAST_ABSENCES ? null : back / judged.length;
      known.set(length, chance);
    }
    return chance;
  };
}

function absencesOf(history: PatientHistory, asOf: IsoDate): Absence[] {
  const seen = daysSeen(history, asOf);
  return seen.map((day, i) => {
    const next = seen[i + 1];
    return {
      years: yearsBetween(day, next ?? asOf),
      begunAgo: yearsBetween(day, asOf),
      cameBack: next !== undefined,
    };
  });
}

/** The end of active treatment and all follow-up visits up to a day, measured or not, in order. */
function daysSeen(history: PatientHistory, asOf: IsoDate): IsoDate[] {
  const end = history.patient.activeEnd ?? visitOfKind(history, 'end_of_active')?.date ?? null;
  const visits = history.visits.flatMap(({ kind, date }) =>
    kind === 'follow_up' && date !== null ? [date] : [],
  );
  return [...(end === null ? [] : [end]), ...visits].filter((date) => date <= asOf).sort();
}

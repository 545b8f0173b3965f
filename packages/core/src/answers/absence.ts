import type { PatientHistory } from '../records';
import { survivalAt, turnbullCurve, type IntervalTimes } from '../survival';
import { isRefusal } from '../numeric';
import type { OutcomeAnswer, PatientOutcome } from './answer';
import type {
  AbsenceAnswer,
  BoundedSurvival,
  TippedShare,
  TippedSurvival,
  TippingPoint,
} from './absence-answer';
import { compareBaseline } from './baseline-comparison';
import { inWindow } from './flow';
import { followedUntil } from './followed-until';
import type { OutcomeQuestion } from './question';

/** Without a visit for longer than this a patient counts as having stayed away: a yearly visit and half a window more. */
const AWAY_YEARS = 1.5;
const STEP = 0.25;
/** "Lost right after the last visit" as an interval: a hundredth of a year, some four days. */
const RIGHT_AFTER = 0.01;
const SHARES = [0, 0.2, 0.4, 0.6, 0.8, 1];
/** The conclusion that most patients keep their gain. */
const MOST = 0.5;

/** One patient of the bounds: what is known of the loss, and whether the patient could have been seen since. */
interface Followed {
  /** Years from the end of active treatment to the day of the question; null where either is not known. */
  readonly horizon: number | null;
  readonly left: number;
  readonly right: number | null;
  readonly away: boolean;
  readonly neverSeen: boolean;
}

/**
 * What those who did not come back could do to the answers: bounds without any assumption about them, how bad they
 * would have to be, and how they differ from those who came as far as can be seen.
 * Sources: Manski 2003 (bounds); Yan, Lee and Li 2009 (tipping points); Newcombe 1998 (differences of shares).
 */
export function absenceAnswer(
  histories: readonly PatientHistory[],
  patients: readonly PatientOutcome[],
  question: OutcomeQuestion,
  survival: OutcomeAnswer['survival'],
): AbsenceAnswer {
  const until = followedUntil(histories, question);
  const horizons = new Map(until.map(({ code, horizon }) => [code, horizon]));
  const seen = new Map(until.map(({ code, lastSeen }) => [code, lastSeen]));
  const ages = new Map(until.flatMap(({ code, ageAtEnd }) => (ageAtEnd === null ? [] : [[code, ageAtEnd]])));
  const followed = patients.flatMap(
    (outcome) =>
      followedOf(outcome, horizons.get(outcome.code) ?? null, seen.get(outcome.code) ?? null) ?? [],
  );
  const under = survival === null ? [] : survivalUnder(followed);
  const year = yearToJudge(patients, horizons);
  const split = year === null ? null : seenAndUnseen(patients, horizons, year);
  return {
    patients: followed.length,
    stayedAway: followed.filter(({ away, neverSeen }) => away && !neverSeen).length,
    neverSeen: followed.filter(({ neverSeen }) => neverSeen).length,
    bounds: survival === null ? [] : boundsOf(followed, under),
    survivalTip: tipSurvival(followed, under, survival),
    shareTip: year === null || split === null ? null : tipShare(split, year, question),
    baseline: split === null ? [] : compareBaseline(split.seen, split.unseen, ages, question.level),
  };
}

function followedOf(outcome: PatientOutcome, horizon: number | null, seen: number | null): Followed | null {
  const { loss, leftOut, treatedAgainAt } = outcome;
  // Whoever came lately is not away, even where the latest visit could not be judged.
  const away = treatedAgainAt === null && horizon !== null && horizon - (seen ?? 0) > AWAY_YEARS;
  if (loss !== null) return { ...loss, horizon, away: away && loss.right === null, neverSeen: false };
  if (leftOut !== 'no-follow-up' || !away) return null;
  return { left: 0, right: null, horizon, away, neverSeen: seen === null };
}

/** Intervals in which a share of those away lost the gain right after they were last seen, and the rest kept it. */
function assumed(
  followed: readonly Followed[],
  lostShare: number,
  kept: (one: Followed) => number,
): IntervalTimes {
  const rows = followed.flatMap(({ left, right, ...one }) => {
    if (!one.away) return [{ left, right: right ?? Infinity, count: 1 }];
    return [
      { left, right: left + RIGHT_AFTER, count: lostShare },
      { left: kept({ left, right, ...one }), right: Infinity, count: 1 - lostShare },
    ].filter(({ count }) => count > 0);
  });
  return {
    left: rows.map(({ left }) => left),
    right: rows.map(({ right }) => right),
    count: rows.map(({ count }) => count),
  };
}

function survivalReader(times: IntervalTimes): (years: number) => number {
  const fit = turnbullCurve(times);
  return isRefusal(fit) ? () => NaN : (years) => survivalAt(fit, years).survival;
}

/** Survival as a function of years, by the share of those away who are taken to have lost their gain. */
type Assumed = readonly { readonly lostShare: number; readonly at: (years: number) => number }[];

function survivalUnder(followed: readonly Followed[]): Assumed {
  return SHARES.map((lostShare) => ({
    lostShare,
    at: survivalReader(assumed(followed, lostShare, ({ left }) => left)),
  }));
}

/** The estimate takes nobody away to have lost anything, the worst case everybody; in the best case all kept it to the end. */
function boundsOf(followed: readonly Followed[], under: Assumed): BoundedSurvival[] {
  const estimate = under[0];
  const worst = under[under.length - 1];
  if (estimate === undefined || worst === undefined) return [];
  const last = followed.reduce((latest, { left }) => Math.max(latest, left), 0);
  // They kept it as long as they could have been seen by now; nobody is followed into years that have not come.
  const best = survivalReader(assumed(followed, 0, ({ left, horizon }) => Math.max(left, horizon ?? left)));
  return Array.from({ length: Math.floor(last / STEP) + 1 }, (_, i) => {
    const years = i * STEP;
    return { years, estimate: estimate.at(years), worst: worst.at(years), best: best(years) };
  });
}

/** Year 5 where ten are still followed, else the last year that has ten; null where none has. */
function tipYear(survival: OutcomeAnswer['survival']): number | null {
  const years = (survival?.turnbull.atYears ?? [])
    .filter(({ atRisk }) => atRisk >= 10)
    .map(({ year }) => year);
  return years.includes(5) ? 5 : (years[years.length - 1] ?? null);
}

function tipSurvival(
  followed: readonly Followed[],
  under: Assumed,
  survival: OutcomeAnswer['survival'],
): TippingPoint<TippedSurvival> | null {
  const year = tipYear(survival);
  if (year === null || !followed.some(({ away }) => away)) return null;
  const table = under.map(({ lostShare, at }) => ({ lostShare, survival: at(year) }));
  return { year, limit: MOST, at: crossing(table, MOST), table };
}

/** Where a falling table crosses a limit, along straight lines between its rows; null where it does not. */
function crossing(table: readonly TippedSurvival[], limit: number): number | null {
  const below = table.findIndex((row) => row.survival < limit);
  const [above, under] = [table[below - 1], table[below]];
  if (above === undefined || under === undefined) return null;
  const part = (above.survival - limit) / (above.survival - under.survival);
  return above.lostShare + part * (under.lostShare - above.lostShare);
}

interface Split {
  /** With A(0) and A(year), unit of the measure. */
  readonly seen: readonly (PatientOutcome & { readonly later: number })[];
  readonly unseen: readonly PatientOutcome[];
}

/** Of those whose year has closed by the day of the question: who was measured in it and who was not. */
function seenAndUnseen(
  patients: readonly PatientOutcome[],
  horizons: ReadonlyMap<string, number | null>,
  year: number,
): Split {
  const due = patients.filter(
    ({ code, gain, treatedAgainAt }) =>
      gain !== null &&
      (horizons.get(code) ?? 0) >= year + 0.5 &&
      (treatedAgainAt === null || treatedAgainAt > year),
  );
  const withLater = due.map((outcome) => ({ ...outcome, later: gainInYear(outcome, year) }));
  return {
    seen: withLater.flatMap(({ later, ...rest }) => (later === null ? [] : [{ ...rest, later }])),
    unseen: withLater.filter(({ later }) => later === null),
  };
}

function gainInYear({ visits, treatedAgainAt }: PatientOutcome, year: number): number | null {
  const [nearest] = visits
    .filter(({ years }) => treatedAgainAt === null || (years ?? Infinity) <= treatedAgainAt)
    .filter(
      ({ kind, years, gain }) =>
        kind === 'follow_up' && years !== null && gain !== null && inWindow(years, year),
    )
    .sort((a, b) => Math.abs((a.years ?? 0) - year) - Math.abs((b.years ?? 0) - year));
  return nearest?.gain?.estimate ?? null;
}

/** The latest year with ten seen and five unseen, else the latest with five seen; null where none has. */
function yearToJudge(
  patients: readonly PatientOutcome[],
  horizons: ReadonlyMap<string, number | null>,
): number | null {
  const years = [5, 4, 3, 2, 1].map((year) => ({ year, ...seenAndUnseen(patients, horizons, year) }));
  const good = years.find(({ seen, unseen }) => seen.length >= 10 && unseen.length >= 5);
  return (good ?? years.find(({ seen }) => seen.length >= 5))?.year ?? null;
}

function tipShare(
  { seen, unseen }: Split,
  year: number,
  { threshold }: OutcomeQuestion,
): AbsenceAnswer['shareTip'] {
  if (unseen.length === 0 || threshold.kind !== 'share') return null;
  const first = total(seen.map(({ gain }) => gain?.estimate ?? NaN));
  const later = total(seen.map((one) => one.later));
  const absent = total(unseen.map(({ gain }) => gain?.estimate ?? NaN));
  if (!(first > 0 && absent > 0)) return null;
  const overall = (unseenShare: number): number => (later + unseenShare * absent) / (first + absent);
  const table = SHARES.map((unseenShare): TippedShare => ({ unseenShare, overall: overall(unseenShare) }));
  const at = (threshold.share * (first + absent) - later) / absent;
  return {
    year,
    limit: threshold.share,
    at: at >= 0 && at <= 1 ? at : null,
    table,
    seen: seen.length,
    unseen: unseen.length,
  };
}

function total(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0);
}

import type { PatientHistory } from '../records';
import { exactLimits, sizeOfLimits, survivalAt, turnbullCurve, type IntervalTimes } from '../survival';
import { isRefusal } from '../numeric';
import type { OutcomeAnswer, PatientOutcome } from './answer';
import type {
  AbsenceAnswer,
  BoundedSurvival,
  Crossing,
  TippedShare,
  TippedSurvival,
  TippingPoint,
} from './absence-answer';
import { compareBaseline } from './baseline-comparison';
import { inWindow } from './flow';
import { followedUntil, type FollowedUntil } from './followed-until';
import type { PatientContrasts } from './patient-outcome';
import type { PreparedQuestion } from './prepared-question';
import type { OutcomeQuestion } from './question';
import { lowerShareOfAll } from './share-of-all';

/** Without a visit for longer than this a patient counts as having stayed away: a yearly visit and half a window more. */
export const AWAY_YEARS = 1.5;
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
 * What those who did not come back could do to the answers: bounds whatever became of them, how bad they would have
 * to be, and how they differ from those who came as far as can be seen.
 * Sources: Manski 2003 (bounds); Yan, Lee and Li 2009 (tipping points); Newcombe 1998 (differences of shares).
 */
export function absenceAnswer(
  histories: readonly PatientHistory[],
  patients: readonly PatientOutcome[],
  contrasts: readonly PatientContrasts[],
  { question, yardstick }: Pick<PreparedQuestion, 'question' | 'yardstick'>,
  survival: OutcomeAnswer['survival'],
): AbsenceAnswer {
  const until = followedUntil(histories, question);
  const horizons = new Map(until.map(({ code, horizon }) => [code, horizon]));
  const ages = new Map(until.flatMap(({ code, ageAtEnd }) => (ageAtEnd === null ? [] : [[code, ageAtEnd]])));
  const followed = followedPatients(until, patients);
  const under = survival === null ? [] : survivalUnder(followed);
  const year = yearToJudge(patients, horizons);
  const split = year === null ? null : seenAndUnseen(patients, horizons, year);
  const byCode = new Map(contrasts.map((one) => [one.code, one]));
  const lowerOf = ({ seen, unseen }: Split): LowerShare => {
    const judged = [...seen, ...unseen.map(({ code }) => ({ code, seenAt: null }))];
    return (unseenShare) => lowerShareOfAll(judged, byCode, unseenShare, yardstick, question.level);
  };
  return {
    patients: followed.length,
    stayedAway: followed.filter(({ away, neverSeen }) => away && !neverSeen).length,
    neverSeen: followed.filter(({ neverSeen }) => neverSeen).length,
    bounds: survival === null ? [] : boundsOf(followed, under),
    survivalTip: tipSurvival(followed, under, survival, question.level),
    shareTip: year === null || split === null ? null : tipShare(split, year, question, lowerOf(split)),
    baseline: split === null ? [] : compareBaseline(split.seen, split.unseen, ages, question.level),
  };
}

/** What the bounds need to know of a patient's outcome. */
type LossOutcome = Pick<PatientOutcome, 'code' | 'loss' | 'leftOut' | 'treatedAgainAt'>;

/** Everybody whose loss could have been followed, with those who stayed away marked. */
function followedPatients(until: readonly FollowedUntil[], outcomes: readonly LossOutcome[]): Followed[] {
  const known = new Map(until.map((one) => [one.code, one]));
  return outcomes.flatMap((outcome) => {
    const { horizon, lastSeen } = known.get(outcome.code) ?? { horizon: null, lastSeen: null };
    return followedOf(outcome, horizon, lastSeen) ?? [];
  });
}

/** Bounds of survival at one time, see `AbsenceAnswer.bounds`; null where nobody stayed away. */
export function absenceBounds(
  histories: readonly PatientHistory[],
  outcomes: readonly LossOutcome[],
  question: OutcomeQuestion,
  years: number,
): { readonly worst: number; readonly best: number } | null {
  const followed = followedPatients(followedUntil(histories, question), outcomes);
  if (!followed.some(({ away }) => away)) return null;
  const shown = survivalReader(assumed(followed, 0, ({ left }) => left))(years);
  return {
    worst: Math.min(worstCase(followed)(years), shown),
    best: Math.max(bestCase(followed)(years), shown),
  };
}

function worstCase(followed: readonly Followed[]): (years: number) => number {
  return survivalReader(
    assumed(followed, 1, ({ left }) => left),
    'lower',
  );
}

/** They kept it as long as they could have been seen by now; nobody is followed into years that have not come. */
function bestCase(followed: readonly Followed[]): (years: number) => number {
  return survivalReader(
    assumed(followed, 0, ({ left, horizon }) => Math.max(left, horizon ?? left)),
    'upper',
  );
}

function followedOf(outcome: LossOutcome, horizon: number | null, seen: number | null): Followed | null {
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

/** Where the curve is not defined, it is read along the straight line between the two ends, or at one of them. */
type ReadWithin = 'line' | 'lower' | 'upper';

function survivalReader(times: IntervalTimes, within: ReadWithin = 'line'): (years: number) => number {
  const fit = turnbullCurve(times);
  if (isRefusal(fit)) return () => NaN;
  return (years) => {
    const { survival, undefinedWithin } = survivalAt(fit, years);
    return within === 'line' ? survival : (undefinedWithin?.[within] ?? survival);
  };
}

/** Survival as a function of years, by the share of those away who are taken to have lost their gain. */
type Assumed = readonly { readonly lostShare: number; readonly at: (years: number) => number }[];

function survivalUnder(followed: readonly Followed[]): Assumed {
  return SHARES.map((lostShare) => ({
    lostShare,
    at: survivalReader(assumed(followed, lostShare, ({ left }) => left)),
  }));
}

/**
 * The estimate takes nobody away to have lost anything, the worst case everybody; in the best case all kept it to the
 * end. Where such a curve is not defined, the worst case has its lower end and the best case its upper: a loss that
 * lies anywhere between two visits cannot be ruled out at either.
 */
function boundsOf(followed: readonly Followed[], under: Assumed): BoundedSurvival[] {
  const estimate = under[0];
  if (estimate === undefined) return [];
  const last = followed.reduce((latest, { left }) => Math.max(latest, left), 0);
  const worst = worstCase(followed);
  const best = bestCase(followed);
  return Array.from({ length: Math.floor(last / STEP) + 1 }, (_, i) => {
    const years = i * STEP;
    const shown = estimate.at(years);
    // More losses elsewhere can move the mass of a loss found early to a later interval, so that the curve of a worse
    // case may pass above the estimate. What is estimated is itself possible, so no bound lies on its other side.
    return {
      years,
      estimate: shown,
      worst: Math.min(worst(years), shown),
      best: Math.max(best(years), shown),
    };
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
  level: number,
): TippingPoint<TippedSurvival> | null {
  const year = tipYear(survival);
  const asked = survival?.turnbull.atYears.find((one) => one.year === year);
  if (year === null || asked === undefined || !followed.some(({ away }) => away)) return null;
  const { estimate, limits, atRisk } = asked;
  const known = estimate === null || limits === null ? null : sizeOfLimits(estimate, limits.lower, level);
  const size = known ?? atRisk;
  const table = under.map(({ lostShare, at }): TippedSurvival => {
    const value = at(year);
    return { lostShare, survival: value, lower: exactLimits(value, size, level).lower };
  });
  const tip = crossingOf(
    table.map((row) => ({ at: row.lostShare, value: row.survival })),
    MOST,
  );
  const lower = crossingOf(
    table.map((row) => ({ at: row.lostShare, value: row.lower })),
    MOST,
  );
  return { year, limit: MOST, ...tip, lowerCrossing: lower.crossing, lowerAt: lower.at, table };
}

/** Where a table that falls or rises crosses a limit, along straight lines between its rows. */
function crossingOf(
  rows: readonly { readonly at: number; readonly value: number }[],
  limit: number,
): { readonly crossing: Crossing; readonly at: number | null } {
  const above = rows.map(({ value }) => value >= limit);
  if (above.every(Boolean)) return { crossing: 'always-above', at: null };
  const turn = above.findIndex((is, i) => i > 0 && is !== above[i - 1]);
  const [before, after] = [rows[turn - 1], rows[turn]];
  if (before === undefined || after === undefined) return { crossing: 'always-below', at: null };
  const part = (limit - before.value) / (after.value - before.value);
  return { crossing: 'tips', at: before.at + part * (after.at - before.at) };
}

interface Split {
  /** With A(0) and A(year), unit of the measure. */
  readonly seen: readonly (PatientOutcome & { readonly later: number; readonly seenAt: number })[];
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
  const withLater = due.map((outcome) => ({ ...outcome, inYear: gainInYear(outcome, year) }));
  return {
    seen: withLater.flatMap(({ inYear, ...rest }) => (inYear === null ? [] : [{ ...rest, ...inYear }])),
    unseen: withLater.filter(({ inYear }) => inYear === null),
  };
}

function gainInYear(
  { visits, treatedAgainAt }: PatientOutcome,
  year: number,
): { readonly later: number; readonly seenAt: number } | null {
  const [nearest] = visits
    .filter(({ years }) => treatedAgainAt === null || (years ?? Infinity) <= treatedAgainAt)
    .filter(
      ({ kind, years, gain }) =>
        kind === 'follow_up' && years !== null && gain !== null && inWindow(years, year),
    )
    .sort((a, b) => Math.abs((a.years ?? 0) - year) - Math.abs((b.years ?? 0) - year));
  if (nearest?.gain == null || nearest.years === null) return null;
  return { later: nearest.gain.estimate, seenAt: nearest.years };
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

/** The lower limit of the share of all, by the share that the unseen are taken to have kept. */
type LowerShare = (unseenShare: number) => number | null;

function tipShare(
  { seen, unseen }: Split,
  year: number,
  { threshold }: OutcomeQuestion,
  lowerOf: LowerShare,
): AbsenceAnswer['shareTip'] {
  if (unseen.length === 0 || threshold.kind !== 'share') return null;
  const gainOf = ({ gain }: Pick<PatientOutcome, 'gain'>): number => gain?.estimate ?? NaN;
  const first = total(seen.map(gainOf));
  const later = total(seen.map((one) => one.later));
  const absent = total(unseen.map(gainOf));
  if (!(first > 0 && absent > 0)) return null;
  const table = SHARES.map((unseenShare): TippedShare => ({
    unseenShare,
    overall: (later + unseenShare * absent) / (first + absent),
    lower: lowerOf(unseenShare),
  }));
  const limit = threshold.share;
  const tip = crossingOf(
    table.map((row) => ({ at: row.unseenShare, value: row.overall })),
    limit,
  );
  const lower = crossingOf(
    table.map((row) => ({ at: row.unseenShare, value: row.lower ?? -Infinity })),
    limit,
  );
  return {
    year,
    limit,
    ...tip,
    lowerCrossing: lower.crossing,
    lowerAt: Number.isFinite(lower.at) ? lower.at : null,
    table,
    seen: seen.length,
    unseen: unseen.length,
    seenMean: later / seen.length,
    unseenMeanAtLimit: (limit * (first + absent) - later) / unseen.length,
  };
}

function total(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0);
}

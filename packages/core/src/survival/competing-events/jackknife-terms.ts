import { risingOrder } from '../../numeric';
import { lastNotAfter } from '../right-censored/step-search';
import type { CompetingTimes } from './competing-times';
import type { CauseSteps, IncidenceSteps } from './incidence-steps';
import type { Covariances } from './incidence-variance';

/** Derivatives of S and of F by the weight of one row, or sums of them. */
interface Influence {
  survival: number;
  incidence: number;
}

/** The influence, after each time, of a row at risk from 0 on without an event. */
interface AlwaysAtRisk {
  readonly survival: Float64Array;
  readonly incidence: Float64Array;
}

interface LateRows {
  readonly kind: Uint32Array;
  readonly weight: Float64Array;
  /** Position of the last distinct time not after the entry; -1 before the first. */
  readonly enteredAfter: Int32Array;
}

/**
 * What the infinitesimal jackknife adds at each time to the multinomial variances. The influence of a row on (S, F)
 * follows their linear map, and while at risk gains S/n (dN - dA). Over those at risk these gains sum to zero; so
 * where all of them have the same past, as without late entry, nothing is added. Else it is twice the sum over rows
 * of past influence times gain. Rows at risk through the same time share their gains, so that the past of a row
 * follows from the past of one that was always at risk and from its place of entry.
 * Sources: Jaeckel 1972; Andersen, Borgan, Gill and Keiding 1993, section IV.4.
 */
export function jackknifeTerms(
  columns: CompetingTimes,
  steps: IncidenceSteps,
  cause: CauseSteps,
): Covariances[] {
  const rows = lateRows(columns, steps.time);
  const size = steps.time.length;
  const always: AlwaysAtRisk = { survival: new Float64Array(size), incidence: new Float64Array(size) };
  const terms: Covariances[] = [];
  // Summed over the rows at risk.
  let atRisk: Influence = nothing();
  let row = 0;
  for (let s = 0; s < size; s++) {
    const n = steps.atRisk[s] ?? NaN;
    const allEvents = steps.allEvents[s] ?? NaN;
    const events = cause.events[s] ?? NaN;
    const change = (s === 0 ? 1 : (steps.eventFree[s - 1] ?? NaN)) / n;
    const own = events / n;
    const left = (n - allEvents) / n;
    const mapped = ({ survival, incidence }: Influence): Influence => ({
      survival: left * survival,
      incidence: incidence + own * survival,
    });
    const leavers = allEvents + (steps.censored[s] ?? NaN);
    const { leaving, failing, failingOfCause, next } = sumLeaving(
      rows,
      row,
      leavers,
      cause.cause,
      (entered) => pastOf(entered, s, always, steps.eventFree, cause.incidence),
    );
    row = next;
    const gain = { survival: (change * allEvents) / n, incidence: -change * own };
    const carried = mapped(atRisk);
    terms.push(crossTerms(carried, gain, mapped(failing), mapped(failingOfCause), change));
    // The gains of all at risk sum to zero; those who leave take theirs along.
    const gone = mapped(leaving);
    add(gone, gain, leavers);
    gone.survival -= change * allEvents;
    gone.incidence += change * events;
    add(carried, gone, -1);
    atRisk = carried;
    const one = mapped({ survival: before(always.survival, s), incidence: before(always.incidence, s) });
    always.survival[s] = one.survival + gain.survival;
    always.incidence[s] = one.incidence + gain.incidence;
  }
  return terms;
}

/** Sums past influence over the rows that leave at one time, the next `leavers` of them by weight. */
function sumLeaving(
  rows: LateRows,
  first: number,
  leavers: number,
  cause: number,
  pastAfter: (enteredAfter: number) => Influence,
) {
  const leaving = nothing();
  const failing = nothing();
  const failingOfCause = nothing();
  let next = first;
  for (let met = 0; met < leavers; next++) {
    const weight = rows.weight[next] ?? NaN;
    const kind = rows.kind[next] ?? NaN;
    const past = pastAfter(rows.enteredAfter[next] ?? -1);
    add(leaving, past, weight);
    if (kind > 0) add(failing, past, weight);
    if (kind === cause) add(failingOfCause, past, weight);
    met += weight;
  }
  return { leaving, failing, failingOfCause, next };
}

/** Twice the products of past and gain: `gain` of all at risk, and -`change`, `change` of S, F more at an event. */
function crossTerms(
  carried: Influence,
  gain: Influence,
  failing: Influence,
  failingOfCause: Influence,
  change: number,
): Covariances {
  return {
    survival: 2 * (carried.survival * gain.survival - change * failing.survival),
    both:
      carried.survival * gain.incidence +
      carried.incidence * gain.survival +
      change * (failingOfCause.survival - failing.incidence),
    incidence: 2 * (carried.incidence * gain.incidence + change * failingOfCause.incidence),
  };
}

/** Influence, just before step `s`, of a row at risk since its entry. */
function pastOf(
  enteredAfter: number,
  s: number,
  always: AlwaysAtRisk,
  eventFree: Float64Array,
  incidence: Float64Array,
): Influence {
  const now = { survival: before(always.survival, s), incidence: before(always.incidence, s) };
  if (enteredAfter < 0) return now;
  const left = eventFree[enteredAfter] ?? NaN;
  // A curve that fell to 0 before the entry says nothing of the row.
  if (left === 0) return nothing();
  const share = (always.survival[enteredAfter] ?? NaN) / left;
  return {
    survival: now.survival - share * before(eventFree, s),
    incidence:
      now.incidence -
      (always.incidence[enteredAfter] ?? NaN) -
      share * (before(incidence, s) - (incidence[enteredAfter] ?? NaN)),
  };
}

function before(column: Float64Array, step: number): number {
  return step === 0 ? 0 : (column[step - 1] ?? NaN);
}

function nothing(): Influence {
  return { survival: 0, incidence: 0 };
}

function add(sum: Influence, one: Influence, times: number): void {
  sum.survival += times * one.survival;
  sum.incidence += times * one.incidence;
}

function lateRows({ time, cause, entry, weights }: CompetingTimes, steps: Float64Array): LateRows {
  const order = risingOrder(time).filter((row) => (weights?.[row] ?? 1) > 0);
  return {
    kind: Uint32Array.from(order, (row) => cause[row] ?? 0),
    weight: Float64Array.from(order, (row) => weights?.[row] ?? 1),
    enteredAfter: Int32Array.from(order, (row) =>
      entry === undefined ? -1 : lastNotAfter(steps, entry[row] ?? NaN),
    ),
  };
}

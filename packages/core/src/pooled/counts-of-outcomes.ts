import { groupLabel, medianGain, type Grouping, type LeftOutReason } from '../answers';
import type { PatientRisk } from '../answers/patient-outcome';
import { DAYS_PER_YEAR } from '../records';
import type { EndingCount, LossCount } from './centre-statistics';

/** Times are whole days since time zero that were turned into years; this turns them back. */
function toDays(years: number): number {
  return Math.round(years * DAYS_PER_YEAR);
}

/**
 * Loss intervals of those in the risk set, counted. Groups by gain are divided at the centre's own median gain, since no
 * centre knows another's.
 */
export function lossCounts(outcomes: readonly PatientRisk[], grouping: Grouping): LossCount[] {
  const inRiskSet = outcomes.filter(({ loss }) => loss !== null);
  const dividing = medianGain(inRiskSet);
  const counts = new Map<string, LossCount>();
  for (const outcome of inRiskSet) {
    if (outcome.loss === null) continue;
    const group = groupLabel(outcome, grouping, dividing);
    const left = toDays(outcome.loss.left);
    const right = outcome.loss.right === null ? null : toDays(outcome.loss.right);
    const key = JSON.stringify([group, left, right]);
    const patients = (counts.get(key)?.patients ?? 0) + 1;
    counts.set(key, { group, left, right, patients });
  }
  return [...counts.values()].sort(
    (a, b) =>
      compareTexts(a.group ?? '', b.group ?? '') ||
      a.left - b.left ||
      (a.right ?? Infinity) - (b.right ?? Infinity) ||
      0,
  );
}

/** How follow-up ended, counted: a loss on the visit that found it, a second treatment before any, or neither. */
export function endingCounts(outcomes: readonly PatientRisk[]): EndingCount[] {
  const counts = new Map<string, EndingCount>();
  for (const outcome of outcomes) {
    const end = endOf(outcome);
    if (end === null) continue;
    const key = `${end.ending} ${end.day}`;
    counts.set(key, { ...end, patients: (counts.get(key)?.patients ?? 0) + 1 });
  }
  return [...counts.values()].sort((a, b) => a.day - b.day || compareTexts(a.ending, b.ending));
}

function endOf({ loss, treatedAgainAt }: PatientRisk): Omit<EndingCount, 'patients'> | null {
  if (loss === null) return null;
  if (loss.right !== null) return { day: toDays(loss.right), ending: 'lost' };
  if (treatedAgainAt !== null && treatedAgainAt > 0)
    return { day: toDays(treatedAgainAt), ending: 'treated-again' };
  return { day: toDays(loss.left), ending: 'neither' };
}

/** Patients who are not in the risk set, by reason. */
export function leftOutCounts(
  outcomes: readonly PatientRisk[],
): { readonly reason: LeftOutReason; readonly patients: number }[] {
  const counts = new Map<LeftOutReason, number>();
  for (const { leftOut } of outcomes)
    if (leftOut !== null) counts.set(leftOut, (counts.get(leftOut) ?? 0) + 1);
  return [...counts]
    .map(([reason, patients]) => ({ reason, patients }))
    .sort((a, b) => compareTexts(a.reason, b.reason));
}

/** By code points, the same on every machine. */
function compareTexts(a: string, b: string): number {
  return a === b ? 0 : a < b ? -1 : 1;
}
